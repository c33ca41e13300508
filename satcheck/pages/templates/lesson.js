const DATA = JSON.parse(document.getElementById("data").textContent);
const $ = (id) => document.getElementById(id);
const make = (tag, text, more = {}) => Object.assign(document.createElement(tag), { textContent: text, ...more });
const capital = (word) => word[0].toUpperCase() + word.slice(1);
const top_ = (id) => $(id).scrollIntoView({ block: "start" });
const percent = (share) => share === null ? "none" : `${Math.round(100 * share)} %`;

// Tabs: arrows move between them.
const tabs = [...document.querySelectorAll("[role=tab]")];
function open(tab) {
  for (const each of tabs) {
    const on = each === tab;
    each.setAttribute("aria-selected", on); each.tabIndex = on ? 0 : -1;
    $(each.getAttribute("aria-controls")).hidden = !on;
  }
  document.querySelector("header .lead").hidden = tab.id !== "tab-see"; // a phone has no room for it twice
  if (tab.id === "tab-find") paint();
}
tabs.forEach((tab, k) => {
  tab.onclick = () => open(tab);
  tab.onkeydown = (event) => {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (step) { const next = tabs[(k + step + tabs.length) % tabs.length]; next.focus(); open(next); }
  };
});

// See: the slider and the magnifier.
let fibre = DATA.fibres[0], glass = [0.5, 0.5];
function showStop() {
  const stop = fibre.stops[$("slider").value];
  $("piece").src = stop.picture; $("lens").hidden = true;
  $("look").setAttribute("aria-label", `${fibre.name}, ${stop.state}`);
  $("state").textContent = `${capital(stop.state)}: ${DATA.todo[stop.state]}`;
  $("slider").setAttribute("aria-valuetext", stop.state);
  const at = (value) => `${Math.min(100, 100 * value / fibre.top)}%`;
  const band = document.querySelector("#scale .band");
  band.style.left = at(fibre.good[0]); band.style.right = `${100 - parseFloat(at(fibre.good[1]))}%`;
  document.querySelector("#scale .mark").style.left = at(stop.visibility);
  $("reading").textContent = `Weave visibility ${stop.visibility.toFixed(3)} (striped: half of all good places of this calibration, ${fibre.good[0].toFixed(3)} to ${fibre.good[1].toFixed(3)})`;
  $("looks").replaceChildren(...["Relief", "Gloss", "Colour"].flatMap((name, k) => [make("dt", name), make("dd", DATA.looks[stop.state][k])]));
  $("fibre-note").textContent = fibre.note; $("see-note").textContent = stop.note;
}
function showFibre(next) {
  fibre = next;
  for (const button of $("fibres").children) button.setAttribute("aria-pressed", button.textContent === capital(fibre.name));
  $("slider").max = fibre.stops.length - 1;
  showStop();
}
$("fibres").append(...DATA.fibres.map((each) => make("button", capital(each.name), { onclick: () => showFibre(each) })));
$("slider").oninput = showStop;
function magnify(x, y) {
  const frame = $("look"), lens = $("lens"), width = frame.clientWidth, height = frame.clientHeight;
  glass = [Math.min(1, Math.max(0, x)), Math.min(1, Math.max(0, y))];
  lens.hidden = false;
  lens.style.left = `${100 * glass[0]}%`; lens.style.top = `${100 * glass[1]}%`;
  lens.style.backgroundImage = `url(${$("piece").src})`; lens.style.backgroundSize = `${2.5 * width}px`;
  const half = lens.clientWidth / 2;
  lens.style.backgroundPosition = `${half - 2.5 * width * glass[0]}px ${half - 2.5 * height * glass[1]}px`;
}
$("look").onpointermove = $("look").onpointerdown = (event) => {
  const box = $("look").getBoundingClientRect();
  magnify((event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
};
$("look").onpointerleave = () => { $("lens").hidden = true; };
$("look").onkeydown = (event) => {
  const step = { ArrowLeft: [-0.08, 0], ArrowRight: [0.08, 0], ArrowUp: [0, -0.08], ArrowDown: [0, 0.08] }[event.key];
  if (step) { magnify(glass[0] + step[0], glass[1] + step[1]); event.preventDefault(); }
  if (event.key === "Escape") $("lens").hidden = true;
};

// Deceived: guess first, then see the same place in a good photo.
let pairAt = 0;
function showPair() {
  const pair = DATA.pairs[pairAt];
  $("spoiled").src = pair.spoiled; $("clear").src = pair.clear; $("clear-side").hidden = true;
  $("pair-title").textContent = `Pair ${pairAt + 1} of ${DATA.pairs.length}, ${pair.fibre}`;
  $("pair-answer").replaceChildren(); $("next-pair").hidden = true;
  for (const button of $("guesses").children) button.disabled = false;
}
$("guesses").onclick = (event) => {
  const guess = event.target.dataset.guess, pair = DATA.pairs[pairAt];
  if (!guess) return;
  const right = guess === "cannot" || guess === "starved";
  const said = guess === "cannot" ? "Right: do not judge by it." : right ? "It is starved. But this photo does not show it safely." : `Deceived: it is starved. Calling it ${guess} lets a dry socket pass.`;
  const box = make("div", "", { className: "answer" });
  box.append(make("p", ""), make("p", `The photo is spoiled by ${pair.trick}: it shows ${percent(pair.kept)} of the contrast.`), make("p", `Look for: ${pair.look}`), make("p", `Photograph: ${pair.how}`), make("p", pair.note, { className: "trainer" }));
  box.firstChild.append(make("strong", said));
  $("pair-answer").replaceChildren(box); $("clear-side").hidden = false; $("next-pair").hidden = false;
  for (const button of $("guesses").children) button.disabled = true;
};
$("next-pair").onclick = () => { pairAt = (pairAt + 1) % DATA.pairs.length; showPair(); top_("deceived"); };

// Find: sums as in satcheck.lesson.scoring and satcheck.lesson.choice.
const CLASSES = [3, 1, 5];
function count(marks, truth) {
  const found = [[0, 0, 0], [0, 0, 0], [0, 0, 0]];
  truth.forEach((row, y) => [...row].forEach((code, x) => {
    const k = CLASSES.indexOf(Number(code)), mark = marks[y][x];
    if (k >= 0) found[k][mark === 1 ? 1 : mark === 5 ? 2 : 0] += 1;
  }));
  return found;
}
const sum = (values) => values.reduce((a, b) => a + b, 0);
function score(counts) {
  const rows = counts.map(sum), columns = [0, 1, 2].map((k) => sum(counts.map((row) => row[k])));
  const all = sum(rows), marked = columns[1] + columns[2], right = counts[1][1] + counts[2][2];
  const chance = all ? sum(rows.map((row, k) => row * columns[k])) / all ** 2 : 1;
  const agreed = all ? (counts[0][0] + right) / all : 0;
  return {
    starved_found: rows[1] ? counts[1][1] / rows[1] : null, rich_found: rows[2] ? counts[2][2] / rows[2] : null,
    false_marks: marked ? 1 - right / marked : null, kappa: chance < 1 - 1e-9 ? (agreed - chance) / (1 - chance) : null, cells: all,
  };
}
function errorRates(done) {
  const wrong = {}, seen = {}, rates = {};
  for (const [name, counts] of done) {
    wrong[name] ??= [1, 1, 1]; seen[name] ??= [2, 2, 2];
    counts.forEach((row, k) => { if (sum(row)) { wrong[name][k] += 1 - row[k] / sum(row); seen[name][k] += 1; } });
  }
  for (const name in wrong) rates[name] = wrong[name].map((value, k) => value / seen[name][k]);
  return rates;
}
function nextExercise(exercises, done) {
  const rates = errorRates(done.map(([k, counts]) => [exercises[k].fibre, counts]));
  let best = null, most = [-1, -1];
  exercises.forEach((each, k) => {
    if (done.some(([seen]) => seen === k)) return;
    const rate = rates[each.fibre] ?? [0.5, 0.5, 0.5], fixed = (value) => Number(value.toFixed(9));
    const worst = fixed(Math.max(0, ...rate.filter((_, m) => each.shares[m] >= 0.05)));
    const expected = fixed(sum(each.shares.map((share, m) => share * rate[m])));
    if (worst > most[0] || (worst === most[0] && expected > most[1])) { most = [worst, expected]; best = k; }
  });
  return best;
}

let searchAt = null, marks = [], tool = 1, cross = null, drawing = false, finished = false, store = {};
const KEY = "satcheck-lesson";
try { store = JSON.parse(localStorage.getItem(KEY)) ?? {}; } catch { store = {}; }
const who = () => $("initials").value.trim().toUpperCase() || "-";
const done = () => (store[who()] ??= []);
function keep() { try { localStorage.setItem(KEY, JSON.stringify(store)); } catch { /* private window: this session only */ } }
function symbol(pen, code, x, y, size) {
  const strong = code === 1 || code === 5;
  if (code === 1 || code === 2) {
    for (const [ink, width] of strong ? [["#000", 0.5], ["#ff7a1a", 0.28]] : [["#000", 0.3], ["#ffd66e", 0.14]]) {
      pen.strokeStyle = ink; pen.lineWidth = width * size; pen.beginPath(); pen.moveTo(x, y + size); pen.lineTo(x + size, y); pen.stroke();
    }
  } else if (code === 4 || code === 5) {
    pen.fillStyle = strong ? "#5c7cff" : "#8cd6e8"; pen.strokeStyle = "#000"; pen.lineWidth = 0.12 * size;
    pen.beginPath(); pen.arc(x + size / 2, y + size / 2, size * (strong ? 0.38 : 0.2), 0, 7); pen.fill(); pen.stroke();
  } else if (code === 9) { pen.fillStyle = "rgba(120,120,120,.55)"; pen.fillRect(x, y, size, size); }
}
function drawGrid(canvas, rows, back) {
  const search = DATA.searches[searchAt], columns = rows[0].length, size = 16;
  canvas.width = columns * size; canvas.height = rows.length * size;
  const pen = canvas.getContext("2d");
  if (back) pen.drawImage(back, 0, 0, canvas.width, canvas.height);
  rows.forEach((row, y) => [...row].forEach((code, x) => symbol(pen, Number(code), x * size, y * size, size)));
  if (canvas.dataset.panel && rows === search.shop) {
    pen.fillStyle = "#fff"; pen.strokeStyle = "#000"; pen.lineWidth = 6; pen.font = `bold ${size * 6}px sans-serif`; pen.textAlign = "center";
    const zones = rows.flatMap((row, y) => [...row].map((code, x) => [Number(code), x, y])).filter(([code]) => code === 9);
    if (zones.length > 40) { const [, x, y] = zones[zones.length >> 1]; pen.strokeText("?", x * size, y * size); pen.fillText("?", x * size, y * size); }
  }
}
function paint() {
  if (searchAt === null) return;
  drawGrid($("board"), marks, null);
  if (cross && !finished) {
    const pen = $("board").getContext("2d"), x = (cross[0] + 0.5) * 16, y = (cross[1] + 0.5) * 16;
    for (const [ink, width] of [["#000", 8], ["#fff", 3]]) {
      pen.strokeStyle = ink; pen.lineWidth = width; pen.beginPath(); pen.moveTo(x - 30, y); pen.lineTo(x + 30, y); pen.moveTo(x, y - 30); pen.lineTo(x, y + 30); pen.stroke();
    }
  }
}
function mark(x, y, code) {
  const truth = DATA.searches[searchAt].truth;
  for (let j = y - 1; j <= y + 1; j++) for (let i = x - 1; i <= x + 1; i++)
    if (truth[j]?.[i] !== undefined && truth[j][i] !== "0") marks[j][i] = code;
  paint();
}
function showSearch() {
  searchAt = nextExercise(DATA.searches, done().map(([name, counts]) => [DATA.searches.findIndex((s) => s.name === name), counts]).filter(([k]) => k >= 0));
  const over = searchAt === null;
  if (over) searchAt = 0;
  const search = DATA.searches[searchAt];
  marks = search.truth.map((row) => Array(row.length).fill(0)); cross = null; finished = false;
  stage.style.setProperty("--ratio", search.size[0] / search.size[1]);
  $("photo").src = search.picture; $("verdict").hidden = true; $("done").hidden = false;
  $("find-title").textContent = over ? "All photos done. Once more from the first:" : `${capital(search.fibre)}: mark what is starved and what is rich. Leave the rest.`;
  paint(); showProgress();
}
function finish() {
  if (finished) return;
  finished = true;
  const search = DATA.searches[searchAt], counts = count(marks, search.truth), got = score(counts), shop = score(count(marks, search.shop));
  done().push([search.name, counts]); keep(); report(search, counts);
  $("score").textContent = got.kappa === null ? (sum([0, 1, 2].map((k) => counts[k][k])) === got.cells ? "All right." : "Look again: here is one state only.") : `Score ${Math.round(100 * got.kappa)} of 100`;
  const list = make("p", `Starved found: ${percent(got.starved_found)}. Rich found: ${percent(got.rich_found)}. False marks: ${percent(got.false_marks)}. Kappa with the shop's label: ${shop.kappa === null ? "cannot be told" : shop.kappa.toFixed(2)}.`);
  list.className = "note"; $("score").append(list);
  $("verdict").hidden = false; $("done").hidden = true;
  for (const canvas of document.querySelectorAll("[data-panel]")) drawGrid(canvas, canvas.dataset.panel === "mine" ? marks : search[canvas.dataset.panel], $("photo"));
  $("find-note").textContent = search.note; paint(); showProgress();
  $("verdict").scrollIntoView?.({ block: "nearest" });
}
function showProgress() {
  const rounds = done(), total = [[0, 0, 0], [0, 0, 0], [0, 0, 0]];
  for (const [, counts] of rounds) counts.forEach((row, j) => row.forEach((n, k) => { total[j][k] += n; }));
  const got = score(total), bars = make("span", "", { className: "bars" });
  bars.style.maxWidth = "20rem"; bars.setAttribute("aria-hidden", "true");
  bars.append(...rounds.slice(-12).map(([, counts]) => { const bar = make("i", ""); bar.style.height = `${Math.max(2, 100 * (score(counts).kappa ?? 1))}%`; return bar; }));
  $("confusion").hidden = bars.hidden = !rounds.length;
  $("progress").replaceChildren(make("span", rounds.length ? `${who() === "-" ? "" : `${who()}: `}${rounds.length} round${rounds.length > 1 ? "s" : ""}, ${got.kappa === null ? "no score yet" : `${Math.round(100 * got.kappa)} of 100`}; 0 is what chance gives. ` : "No round yet."), bars);
  $("confusion").tBodies[0].replaceChildren(...["Good", "Starved", "Rich"].map((name, j) => {
    const row = make("tr", ""), all = sum(total[j]);
    row.append(make("th", name), ...total[j].map((n) => make("td", all ? percent(n / all) : "-", { className: "number" })));
    return row;
  }));
  showEveryone();
}
const NAMES = ["good", "starved", "rich"];
function worstMistake(rounds) {
  let worst = "", most = 0;
  for (const fibre of new Set(rounds.map(([name]) => DATA.searches.find((s) => s.name === name)?.fibre))) {
    const own = rounds.filter(([name]) => DATA.searches.find((s) => s.name === name)?.fibre === fibre);
    NAMES.forEach((was, j) => NAMES.forEach((called, k) => {
      const all = sum(own.map(([, counts]) => sum(counts[j]))), share = all ? sum(own.map(([, counts]) => counts[j][k])) / all : 0;
      if (j !== k && share > most) { most = share; worst = `${was} called ${called}${fibre ? ` on ${fibre}` : ""} (${percent(share)})`; }
    }));
  }
  return worst || "nothing";
}
function showEveryone() {
  const known = Object.entries(store).filter(([, rounds]) => rounds.length);
  $("everyone").hidden = known.length < (isServed() ? 1 : 2);
  $("everyone").querySelector("tbody").replaceChildren(...known.map(([name, rounds]) => {
    const total = NAMES.map((_, j) => NAMES.map((_, k) => sum(rounds.map(([, counts]) => counts[j][k])))), got = score(total), row = make("tr", "");
    row.append(make("th", name), make("td", rounds.length, { className: "number" }), make("td", got.kappa === null ? "-" : Math.round(100 * got.kappa), { className: "number" }), make("td", worstMistake(rounds)));
    return row;
  }));
}
const stage = $("stage");
function cell(event) {
  const box = stage.getBoundingClientRect(), truth = DATA.searches[searchAt].truth;
  return [Math.floor((event.clientX - box.left) / box.width * truth[0].length), Math.floor((event.clientY - box.top) / box.height * truth.length)];
}
stage.onpointerdown = (event) => { if (!finished) { drawing = true; stage.setPointerCapture(event.pointerId); mark(...cell(event), tool); } };
stage.onpointermove = (event) => { if (drawing && !finished) mark(...cell(event), tool); };
stage.onpointerup = stage.onpointercancel = () => { drawing = false; };
stage.onkeydown = (event) => {
  if (finished || event.ctrlKey || event.metaKey) return;
  const truth = DATA.searches[searchAt].truth, step = { ArrowLeft: [-2, 0], ArrowRight: [2, 0], ArrowUp: [0, -2], ArrowDown: [0, 2] }[event.key];
  cross ??= [truth[0].length >> 1, truth.length >> 1];
  if (step) { cross = [Math.min(truth[0].length - 1, Math.max(0, cross[0] + step[0])), Math.min(truth.length - 1, Math.max(0, cross[1] + step[1]))]; paint(); event.preventDefault(); }
  const code = { s: 1, r: 5, e: 0 }[event.key.toLowerCase()];
  if (code !== undefined) mark(...cross, code);
  if (event.key.toLowerCase() === "d") finish();
};
$("tools").onclick = (event) => {
  if (event.target.dataset.tool === undefined) return;
  tool = Number(event.target.dataset.tool);
  for (const button of $("tools").querySelectorAll("[data-tool]")) button.setAttribute("aria-pressed", button === event.target);
};
$("clear-marks").onclick = () => { if (!finished) { marks.forEach((row) => row.fill(0)); paint(); } };
$("done").onclick = finish; $("next-search").onclick = () => { showSearch(); top_("find"); }; $("initials").onchange = showSearch;
$("forget").onclick = () => { delete store[who()]; keep(); showSearch(); };

// Decide: the answer is the plan's.
let decisionAt = 0;
function showDecision() {
  const asked = DATA.decisions[decisionAt];
  $("situation").textContent = `${asked.situation} Part ${decisionAt + 1} of ${DATA.decisions.length}.`;
  $("decision-photo").src = asked.picture; $("decision-answer").replaceChildren(); $("next-decision").hidden = true;
  $("options").replaceChildren(...asked.options.map((text, k) => make("button", text, { onclick: () => decide(k) })));
}
function decide(k) {
  const asked = DATA.decisions[decisionAt], box = make("div", "", { className: "answer" }), head = make("p", "");
  [...$("options").children].forEach((button, m) => { button.disabled = true; button.className = m === asked.answer ? "right" : m === k ? "wrong" : ""; });
  head.append(make("strong", k === asked.answer ? "Right." : `Better: ${asked.options[asked.answer]}`));
  box.append(head, ...asked.reasons.map((text) => make("p", text)), make("p", asked.note, { className: "trainer" }));
  $("decision-answer").replaceChildren(box); $("next-decision").hidden = false;
}
$("next-decision").onclick = () => { decisionAt = (decisionAt + 1) % DATA.decisions.length; showDecision(); top_("decide"); };

// A lesson may lack a part: its tab is then not offered.
for (const [name, list, show] of [["see", DATA.fibres, () => showFibre(DATA.fibres[0])], ["deceived", DATA.pairs, showPair], ["find", DATA.searches, showSearch], ["decide", DATA.decisions, showDecision]]) {
  if (list.length) show(); else $(`tab-${name}`).hidden = true;
}
if (!DATA.fibres.length) open(tabs.find((tab) => !tab.hidden));
startServed();
