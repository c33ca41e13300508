// The page at the bench: what leads from a photo to its verdict, and from one address to the next.

import { readCard } from "./card.js";
import { followPart, startGel } from "./gel.js";
import { adopt, askNumber, listenToSetup, partChanged, partNumber, recallSetup, setup, showWho } from "./part.js";
import { dropPhoto, keepPhoto, keptPhoto, unsent } from "./pending.js";
import { clearResult, listenToResult, showResult, stageChanged } from "./result.js";
import { send, wait } from "./send.js";
import { announce, freeUrls, go, keepUrl, lock } from "./stage.js";
import { ask, byId, newId, takeKey, words } from "./wire.js";

let tryAgain = null; // what failed last, once more
let held = null; // a photo that waits for its part's number
let underWay = null; // {id, given}: the photo that this page is sending or waiting for

function fail(error) {
  if (error.isAboutKey) { lock(error.message); return; }
  byId("failure").textContent = error.status ? error.message : words("server_gone");
  byId("retry").hidden = !(!error.status || error.status >= 500 || error.again);
  announce("");
  go("failed", "take_again");
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
  holdNothing(); // a photo that still waits for a number is not of the next part
  const { view, fibre } = setup();
  await follow({ id: newId(), part: partNumber(), view, fibre, size: file.size }, file);
}

async function follow(shot, file = null) {
  giveUp();
  const given = { up: false, stop: () => {} };
  underWay = { id: shot.id, given };
  tryAgain = () => follow(shot, file);
  if (location.hash !== `#photo=${shot.id}`) history.pushState(null, "", `#photo=${shot.id}`);
  showWorking(file);
  if (file) keepPhoto(shot, file);
  try {
    const state = file ? await send(shot, file, tell, given) : await ask("/api/photos", "POST", shot);
    await finish(shot.id, state, given);
  } catch (error) {
    if (given.up) return;
    if (file && error.message === words("bad_part")) await holdForNumber(shot.id, file, given);
    else fail(error);
  } finally {
    if (underWay && underWay.given === given) underWay = null;
  }
}

// ---- the part's number from the card

async function nameFromCard(file) { // no number was typed: the card in the photo may say it
  held = file;
  const isRead = await scan(file);
  if (isRead) await sendHeld();
  else if (isRead === false) askNumber("held");
}

// Returns whether a number was read; null where nobody waits for it any more.
async function scan(file) {
  const given = { up: false, stop: () => {} };
  giveUp();
  underWay = { id: null, given };
  showWorking(file, "scanning");
  let part = null, why = words("scan_none");
  try { part = await readCard(file); } catch (error) {
    if (error.isAboutKey) { lock(error.message); return null; }
    why = error.status ? error.message : words("server_gone");
  }
  if (given.up) return null;
  underWay = null;
  go("start", "take");
  if (part !== null) { byId("part").value = part; partChanged(); announce(words("scan_took", { part })); }
  else byId("part-bad").textContent = why;
  return part !== null;
}

async function sendHeld() {
  const file = held;
  if (!file) return;
  if (partNumber() === "") askNumber("held");
  else await take(file);
}

async function holdForNumber(id, file, given) { // the server refuses the number as it is typed; the photo is good
  await dropPhoto(id); // else a reload would offer it under that number again
  if (given.up) return;
  held = file;
  history.replaceState(null, "", location.pathname);
  askNumber("bad_part");
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
  if (state.state === "kept") await showResult(state.answer, given);
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
  if (id) { dropPhoto(id); history.back(); } else go("start", "take");
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
  byId("cancel").textContent = words("cancel");
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
  // Once it has come as a whole it is judged and kept: there is a way back, but nothing to cancel.
  if (["waiting", "measuring"].includes(state.state)) byId("cancel").textContent = words("back");
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

// ---- addresses, so that the back button does what it says

async function route() {
  const found = /^#photo=([0-9a-f]{32}|[0-9a-f]{64})$/.exec(location.hash);
  if (!found) {
    giveUp();
    clearResult();
    go("start", "take");
    showUnsent();
    return;
  }
  const id = found[1];
  if (underWay && underWay.id === id) return;
  giveUp();
  const given = { up: false, stop: () => {} };
  underWay = { id, given };
  tryAgain = route;
  showWorking(null);
  try {
    const kept = await keptPhoto(id); // a page that was reloaded goes on with what it was sending
    if (kept) tryAgain = () => follow(kept.shot, kept.file);
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

async function start() {
  if (!takeKey()) { lock(words("key_missing")); addEventListener("hashchange", start, { once: true }); return; }
  recallSetup();
  startGel(stageChanged);
  listenToSetup();
  listenToResult(follow);
  for (const name of ["take", "gallery"]) byId(name).addEventListener("change", () => photograph(byId(name)));
  byId("scan").addEventListener("change", () => { const [file] = byId("scan").files; byId("scan").value = ""; if (file) scan(file); });
  byId("held-send").addEventListener("click", sendHeld);
  byId("retry").addEventListener("click", () => tryAgain());
  byId("who").addEventListener("click", () => { history.pushState(null, "", location.pathname); route(); });
  byId("cancel").addEventListener("click", cancel);
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
