// The page at the bench: which part of it is there, and what leads from one to the next.

import { readCard } from "./card.js";
import { followPart, secondsLeft, startGel } from "./gel.js";
import { dropPhoto, keepPhoto, keptPhoto, unsent } from "./pending.js";
import { send, wait } from "./send.js";
import { showSeries } from "./series.js";
import { ask, byId, LETTERS, make, newId, picture, recall, remember, takeKey, words } from "./wire.js";
import { zoom } from "./zoom.js";

const SETUP = "satcheck-setup";
const NOISE = "satcheck-noise";

let last = null; // {shot, file}: what was asked last, to be tried again
let held = null; // a photo that waits for its part's number
let underWay = null; // {id, given}: the photo that this page is sending or waiting for
let shown = null; // the verdict on the screen
let series = null;
let urls = [];
let mending = null; // {inside: [], outside: []} while the outline is mended

const form = byId("setup");
const setup = () => Object.fromEntries(new FormData(form));
const partNumber = () => setup().part.trim().replace(/\s+/g, " ");

// ---- which part of the page

function go(at) {
  document.body.dataset.at = at;
  if (at !== "working") delete document.body.dataset.doing;
  document.body.classList.toggle("again", at === "result" && shown !== null && shown.retake);
  byId("take-word").textContent = at === "start" ? words("take")
    : at === "failed" || (shown && shown.retake) ? words("take_again") : words("take_next");
  scrollTo(0, 0);
}

function announce(text) {
  const said = byId("said");
  if (said.textContent !== text) said.textContent = text;
}

function fail(error) {
  if (error.isAboutKey) { lock(error.message); return; }
  byId("failure").textContent = error.status ? error.message : words("server_gone");
  byId("retry").hidden = !(last && (!error.status || error.status >= 500 || error.again));
  announce("");
  go("failed");
}

function lock(sentence) {
  byId("locked-say").textContent = sentence;
  go("locked");
  announce(sentence);
}

// ---- part, view and fibre

function recallSetup() {
  let kept = {};
  try { kept = JSON.parse(recall(SETUP)) || {}; } catch { /* nothing was kept */ }
  if (typeof kept.part === "string") byId("part").value = kept.part;
  for (const name of ["view", "fibre"]) {
    const wanted = [...form.elements[name]].find?.((one) => one.value === kept[name]);
    if (wanted) wanted.checked = true;
  }
}

function adopt(facts) { // a photo that is opened by its address brings its own part, view and fibre
  byId("part").value = facts.part;
  for (const name of ["view", "fibre"]) {
    for (const one of form.querySelectorAll(`[name=${name}]`)) one.checked = one.value === facts[name];
  }
  showWho();
}

function showWho() {
  const { view, fibre } = setup();
  byId("who-part").textContent = partNumber();
  byId("who-rest").textContent = `${words(view)} · ${fibre}`;
  remember(SETUP, JSON.stringify({ ...setup(), part: partNumber() }));
}

function partChanged() {
  byId("part-bad").textContent = "";
  byId("part").setAttribute("aria-invalid", "false");
  showWho();
  followPart(partNumber());
}

function missingPart() {
  const bad = partNumber() === "";
  byId("part-bad").textContent = bad ? words(held ? "held" : "part_missing") : "";
  byId("held-send").hidden = !bad || held === null;
  byId("part").setAttribute("aria-invalid", String(bad));
  if (bad) { history.pushState(null, "", location.pathname); go("start"); byId("part").focus(); }
  return bad;
}

// ---- from a photo to its verdict

async function photograph(input) {
  const file = input.files[0];
  input.value = "";
  if (!file) return;
  if (partNumber() === "") { await nameFromCard(file); return; }
  await take(file);
}

async function take(file) {
  const { view, fibre } = setup();
  await follow({ id: newId(), part: partNumber(), view, fibre, size: file.size }, file);
}

async function follow(shot, file = null) {
  giveUp();
  const given = { up: false, stop: () => {} };
  underWay = { id: shot.id, given };
  last = { shot, file };
  if (location.hash !== `#photo=${shot.id}`) history.pushState(null, "", `#photo=${shot.id}`);
  showWorking(file);
  if (file) keepPhoto(shot, file);
  try {
    const state = file ? await send(shot, file, tell, given) : await ask("/api/photos", "POST", shot);
    await finish(shot.id, state, given);
  } catch (error) {
    if (!given.up) fail(error);
  } finally {
    if (underWay && underWay.given === given) underWay = null;
  }
}

// ---- the part's number from the card

async function nameFromCard(file) { // no number was typed: the card in the photo may say it
  held = file;
  if (await scan(file)) await sendHeld();
  else missingPart();
}

async function scan(file) {
  const given = { up: false, stop: () => {} };
  giveUp();
  underWay = { id: null, given };
  showWorking(file, "scanning");
  let part = null, why = words("scan_none");
  try { part = await readCard(file); } catch (error) {
    if (error.isAboutKey) { lock(error.message); return false; }
    why = error.status ? error.message : words("server_gone");
  }
  if (given.up) return false;
  underWay = null;
  go("start");
  if (part !== null) { byId("part").value = part; partChanged(); announce(words("scan_took", { part })); }
  else byId("part-bad").textContent = why;
  return part !== null;
}

async function sendHeld() {
  const file = held;
  if (missingPart() || !file) return;
  holdNothing();
  await take(file);
}

function holdNothing() { held = null; byId("held-send").hidden = true; }

// ---- photos that were not through when the page was closed

async function showUnsent() {
  const [first] = await unsent();
  byId("unsent").hidden = first === undefined;
  if (!first) return;
  byId("unsent-say").textContent = words("unsent", { part: first.shot.part, view: words(first.shot.view) });
  byId("unsent-drop").textContent = words("unsent_drop");
  byId("unsent-send").onclick = () => { adopt(first.shot); follow(first.shot, first.file); };
  byId("unsent-drop").onclick = async () => {
    if (byId("unsent-drop").textContent !== words("unsent_sure")) { byId("unsent-drop").textContent = words("unsent_sure"); return; }
    await dropPhoto(first.shot.id);
    showUnsent();
  };
}

async function finish(id, state, given) {
  if (given.up) return;
  performance.mark("sent");
  if (state.state === "waiting" || state.state === "measuring") state = await wait(id, tell, given);
  if (given.up) return;
  if (state.state !== "failed" || !state.is_here) dropPhoto(id);
  if (state.state === "kept") await showResult(state.answer, true);
  else fail({ status: 1, message: state.sentence || words("unknown_photo"), again: state.is_here });
}

function giveUp() {
  if (!underWay) return;
  underWay.given.up = true;
  underWay.given.stop();
  underWay = null;
}

function cancel() {
  const id = underWay && underWay.id;
  giveUp();
  if (id) { dropPhoto(id); history.back(); } else go("start");
}

function showWorking(file, doing = file ? "sending" : "measuring") {
  if (doing !== "scanning") showWho();
  const image = byId("sent");
  image.hidden = true;
  if (file) {
    freeUrls();
    image.src = keepUrl(URL.createObjectURL(file));
    image.hidden = false;
  }
  document.body.dataset.doing = doing;
  byId("doing").textContent = words(doing, { percent: 0 });
  go("working");
}

let since = null;
function tell(state) {
  if (state.state === "sending") byId("sending").value = state.percent;
  const text = {
    sending: () => words("sending", { percent: state.percent }),
    lost: () => words("lost"),
    waiting: () => state.ahead === 1 ? words("waiting_one")
      : state.ahead ? words("waiting", { count: state.ahead }) : words("measuring"),
    measuring: () => words("measuring"),
  }[state.state]();
  document.body.dataset.doing = state.state;
  byId("doing").textContent = text;
  if (state.state === "measuring" && since === null) since = performance.now();
  announce(state.state === "sending" ? words("sending", { percent: 25 * Math.floor(state.percent / 25) }) : text);
}

setInterval(() => { // honest: how long it has taken, no invented percentage
  if (document.body.dataset.doing !== "measuring") { since = null; return; }
  since ??= performance.now();
  const seconds = Math.floor((performance.now() - since) / 1000);
  if (seconds > 1) byId("doing").textContent = words("measuring_for", { seconds });
}, 500);

// ---- the verdict

async function showResult(answer, isNew) {
  const pictures = await Promise.all(
    ["marks", "plain"].map((which) => picture(`/api/photos/${answer.id}/${which}.jpg`)),
  );
  shown = answer;
  series = null;
  adopt(answer);
  freeUrls();
  [byId("marks").src, byId("plain").src] = pictures.map(keepUrl);
  await byId("marks").decode().catch(() => {});
  byId("verdict").dataset.v = answer.verdict;
  byId("word").textContent = answer.verdict;
  byId("letter").textContent = LETTERS[answer.verdict];
  byId("where").textContent = answer.where;
  byId("more").hidden = true;
  const time = new Date(answer.time).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  const share = `${Math.round(100 * answer.share_judged)} %`;
  byId("notes").textContent = [words("stored", { time }) + ".", words("judged", { share }), answer.card_note,
    answer.demo ? words("demo") : ""].filter(Boolean).join(" ");
  endMending();
  picturePlain(false);
  view.reset();
  showDo();
  go("result");
  requestAnimationFrame(() => performance.measure("shown", "sent")); // for whoever measures
  announce([answer.verdict, answer.where, byId("do").textContent].filter(Boolean).join(". "));
  if (isNew) noise(answer);
  byId("verdict").focus({ preventScroll: true });
  followPart(answer.part);
  loadSeries(answer);
}

async function loadSeries(answer) {
  try {
    const found = await ask(`/api/photos/${answer.id}/series`);
    if (shown !== answer) return;
    series = found;
    showDo();
    showSeries(found, stage);
  } catch { /* the verdict stands without it; the next photo asks again */ }
}

let stage = ""; // of the gel clock: "", "runs", "late", "over"
function showDo() {
  if (!shown) return;
  let text = shown.retake ? shown.advice.join(" ") : shown.advice[0];
  if (series && !shown.retake && series.plan.first) text = series.plan.first;
  if (stage === "over" && secondsLeft() !== null) text = words("gel_over_say");
  byId("do").textContent = text || "";
}

function picturePlain(plain) {
  byId("frame").setAttribute("aria-pressed", String(plain));
  byId("frame").setAttribute("aria-label", words(plain ? "picture_plain" : "picture_marks"));
  byId("hint").textContent = words(plain ? "tap_marks" : "tap_plain");
}

const view = zoom(byId("frame"), byId("sheet"), (x, y) => {
  if (mending && x !== null) addTap(x, y);
  else picturePlain(byId("frame").getAttribute("aria-pressed") !== "true");
});

function noise(answer) {
  if (recall(NOISE) !== "on") return;
  const urgent = ["starved", "rich", "not judged"].includes(answer.verdict);
  navigator.vibrate?.(urgent ? [300, 120, 300] : 120);
  try {
    const audio = new AudioContext(), tone = audio.createOscillator();
    tone.frequency.value = urgent ? 330 : 660;
    tone.connect(audio.destination);
    tone.start();
    tone.stop(audio.currentTime + (urgent ? 0.5 : 0.15));
    tone.onended = () => audio.close();
  } catch { /* a phone without sound */ }
}

function showNoise() {
  const on = recall(NOISE) === "on";
  byId("noise").setAttribute("aria-pressed", String(on));
  byId("noise").textContent = `${words("sound")}: ${words(on ? "on" : "off")}`;
}

// ---- mending the outline

function startMending() {
  mending = { inside: [], outside: [] };
  byId("mending").hidden = false;
  byId("mend").hidden = true;
  document.body.classList.add("mends");
  picturePlain(true);
  byId("hint").textContent = words("mend_tap");
  byId("frame").scrollIntoView({ block: "start" });
}

function endMending() {
  mending = null;
  document.body.classList.remove("mends");
  byId("mending").hidden = true;
  byId("mend").hidden = false;
  byId("taps").replaceChildren();
}

function addTap(x, y) {
  const which = document.querySelector("[name=tap]:checked").value;
  mending[which].push([Math.round(x * shown.width), Math.round(y * shown.height)]);
  const mark = make("b", which === "inside" ? "+" : "–", { class: which });
  mark.style.left = `${100 * x}%`;
  mark.style.top = `${100 * y}%`;
  byId("taps").append(mark);
}

function judgeMended() {
  if (!mending || !(mending.inside.length + mending.outside.length)) {
    byId("hint").textContent = words("mend_few");
    announce(words("mend_few"));
    return;
  }
  const { part, view: side, fibre, id } = shown;
  const taps = mending;
  endMending(); // a second tap finds nothing to send
  follow({ id: newId(), part, view: side, fibre, of: id, ...taps });
}

// ---- addresses, so that the back button does what it says

async function route() {
  const found = /^#photo=([0-9a-f]{32})$/.exec(location.hash);
  if (!found) {
    giveUp();
    shown = null;
    go("start");
    showUnsent();
    return;
  }
  const id = found[1];
  if (underWay && underWay.id === id) return;
  giveUp();
  const given = { up: false, stop: () => {} };
  underWay = { id, given };
  showWorking(null);
  try {
    const kept = await keptPhoto(id); // a page that was reloaded goes on with what it was sending
    const state = await ask(`/api/photos/${id}`).catch((error) => {
      if (error.status === 404 && kept) return { state: "sending" };
      throw error;
    });
    if (given.up) return;
    if (state.state !== "sending") await finish(id, state, given);
    else if (kept) { adopt(kept.shot); await follow(kept.shot, kept.file); }
    else fail({ status: 1, message: words("cut") });
  } catch (error) {
    if (!given.up) fail(error);
  } finally {
    if (underWay && underWay.given === given) underWay = null;
  }
}

function keepUrl(url) { urls.push(url); return url; }
function freeUrls() { urls.forEach((url) => URL.revokeObjectURL(url)); urls = []; }

async function start() {
  if (!takeKey()) { lock(words("key_missing")); return; }
  recallSetup();
  showNoise();
  startGel((now) => { stage = now; showDo(); if (series) showSeries(series, now === "late" || now === "over"); });
  for (const name of ["take", "gallery"]) byId(name).addEventListener("change", () => photograph(byId(name)));
  byId("part").addEventListener("change", partChanged);
  byId("part").addEventListener("input", () => { byId("part-bad").textContent = ""; });
  byId("scan").addEventListener("change", () => { const [file] = byId("scan").files; byId("scan").value = ""; if (file) scan(file); });
  byId("held-send").addEventListener("click", sendHeld);
  byId("retry").addEventListener("click", () => { if (last) follow(last.shot, last.file); });
  form.addEventListener("change", showWho);
  form.addEventListener("submit", (event) => { event.preventDefault(); byId("part").blur(); });
  byId("who").addEventListener("click", () => { history.pushState(null, "", location.pathname); route(); });
  byId("cancel").addEventListener("click", cancel);
  byId("mend").addEventListener("click", startMending);
  byId("mend-stop").addEventListener("click", () => { endMending(); picturePlain(false); });
  byId("mend-go").addEventListener("click", judgeMended);
  byId("noise").addEventListener("click", () => { remember(NOISE, recall(NOISE) === "on" ? "off" : "on"); showNoise(); });
  addEventListener("popstate", route);
  addEventListener("hashchange", () => { if (takeKey()) route(); });
  try {
    await ask(`/api/clock?part=${encodeURIComponent(partNumber())}`);
    await followPart(partNumber());
  } catch (error) {
    if (error.isAboutKey) { lock(error.message); return; }
  }
  route();
}

start();
