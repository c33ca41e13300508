// The verdict on the screen: words, picture, what to do, the series, and an outline that taps mend.

import { secondsLeft } from "./gel.js";
import { adopt } from "./part.js";
import { showSeries } from "./series.js";
import { announce, freeUrls, go, keepUrl } from "./stage.js";
import { ask, byId, LETTERS, make, newId, pictureIfKept, recall, remember, words } from "./wire.js";
import { zoom } from "./zoom.js";

const NOISE = "satcheck-noise";

let shown = null; // the verdict on the screen
let series = null;
let stage = ""; // of the gel clock: "", "runs", "late", "over"
let mending = null; // {inside: [], outside: []} while the outline is mended
let follow = () => {};

export function clearResult() { shown = null; }

export function stageChanged(now) {
  stage = now;
  showDo();
  if (series) showSeries(series, now === "late" || now === "over");
}

// given: whether this photo was given up, which a slow network leaves time for; it then changes nothing.
export async function showResult(answer, given) {
  const fetched = (which) => pictureIfKept(`/api/photos/${answer.id}/${which}.jpg`);
  const drawn = fetched("marks"), bare = fetched("plain").catch(() => null); // it can do without
  const marks = await drawn;
  if (given.up) return;
  shown = answer;
  series = null;
  adopt(answer);
  freeUrls();
  const hasPicture = marks !== null;
  for (const part of document.querySelectorAll("#frame, .legend, .mend")) part.hidden = !hasPicture;
  if (hasPicture) {
    byId("marks").src = keepUrl(marks);
    byId("plain").removeAttribute("src"); // not the photo before this one
    bare.then((url) => {
      if (url) keepUrl(url);
      if (url && shown === answer) byId("plain").src = url;
    });
    await byId("marks").decode().catch(() => {});
    if (given.up) return;
  }
  byId("verdict").dataset.v = answer.verdict;
  byId("word").textContent = words(answer.verdict);
  byId("letter").textContent = LETTERS[answer.verdict];
  byId("where").textContent = answer.where;
  byId("more").hidden = true;
  const time = new Date(answer.time).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  const share = `${Math.round(100 * answer.share_judged)} %`;
  byId("notes").textContent = [words("stored", { time }) + ".", words("judged", { share }), answer.runs_out_note, answer.card_note,
    hasPicture ? "" : words("no_picture"), answer.demo ? words("demo") : ""].filter(Boolean).join(" ");
  endMending();
  picturePlain(false);
  view.reset();
  showDo();
  go("result", answer.retake ? "take_again" : "take_next", answer.retake);
  requestAnimationFrame(() => performance.measure("shown", "sent")); // for whoever measures
  announce([words(answer.verdict), answer.where, byId("do").textContent].filter(Boolean).join(". "));
  noise(answer);
  byId("verdict").focus({ preventScroll: true });
  loadSeries(answer);
}

async function loadSeries(answer) {
  try {
    const found = await ask(`/api/photos/${answer.id}/series`);
    if (shown !== answer) return;
    series = found;
    showDo();
    showSeries(found, stage === "late" || stage === "over");
  } catch { /* the verdict stands without it; the next photo asks again */ }
}

function showDo() {
  if (!shown) return;
  let text = shown.retake ? shown.advice.join(" ") : shown.advice[0];
  if (series && !shown.retake && series.plan.first) text = series.plan.first;
  if (stage === "over" && secondsLeft() !== null && !shown.retake) text = words("gel_over_say");
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
  byId("mend-back").hidden = true;
}

function addTap(x, y) {
  const which = document.querySelector("[name=tap]:checked").value;
  mending[which].push([Math.round(x * shown.width), Math.round(y * shown.height)]);
  const mark = make("b", which === "inside" ? "+" : "–", { class: which });
  mark.style.left = `${100 * x}%`;
  mark.style.top = `${100 * y}%`;
  byId("taps").append(mark);
  byId("mend-back").hidden = false;
}

function takeBack() {
  const last = byId("taps").lastElementChild;
  mending[last.className].pop();
  last.remove();
  byId("mend-back").hidden = !byId("taps").childElementCount;
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

export function listenToResult(judge) {
  follow = judge;
  byId("mend").addEventListener("click", startMending);
  byId("mend-stop").addEventListener("click", () => { endMending(); picturePlain(false); });
  byId("mend-go").addEventListener("click", judgeMended);
  byId("mend-back").addEventListener("click", takeBack);
  byId("noise").addEventListener("click", () => { remember(NOISE, recall(NOISE) === "on" ? "off" : "on"); showNoise(); });
  showNoise();
}
