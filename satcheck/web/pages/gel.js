// The gel clock. It counts what a person entered; the server keeps it, so that every phone shows it.

import { ask, byId, recall, remember, words } from "./wire.js";

const HURRY = 240; // seconds left from which the page says less; as stringing does (own rule)
const MINUTES = "satcheck-minutes";

const ASK_AGAIN = 15000; // ms; another phone may have started or stopped the clock (own rule)

let end = null; // {ticks, wall}: performance.now() and Date.now() at which the working time is over
let part = "";
let changed = () => {};

// Ticks stand still on a phone that sleeps, and its clock may be set: more is gone for sure.
export const secondsLeft = () => (end === null ? null : Math.min(end.ticks - performance.now(), end.wall - Date.now()) / 1000);

export function clockText(seconds) {
  if (seconds <= 0) return words("gel_over");
  if (seconds < 120) return words("gel_last", { seconds: Math.ceil(seconds) });
  return words("gel_left", { minutes: Math.floor(seconds / 60) });
}

export async function followPart(name) {
  if (part !== name) set(null); // not the clock of the part before this one
  part = name;
  if (!name) return;
  const seen = said, asked = moment();
  try {
    const found = (await ask(path())).seconds_left;
    if (part === name && said === seen) set(found, asked); // nothing newer has been said meanwhile
  } catch { /* without network the clock runs on here */ }
}

export function startGel(onChange) {
  changed = onChange;
  byId("gel-minutes").value = recall(MINUTES) || "";
  byId("clock").addEventListener("click", openGel);
  byId("gel-close").addEventListener("click", () => byId("gel").close());
  byId("gel-start").addEventListener("click", begin);
  byId("gel-form").addEventListener("submit", (event) => { event.preventDefault(); begin(); });
  byId("gel-stop").addEventListener("click", stop);
  byId("gel-gelled").addEventListener("click", gelled);
  setInterval(show, 1000);
  setInterval(() => { if (!document.hidden) followPart(part); }, ASK_AGAIN);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) followPart(part); });
}

export function openGel() {
  byId("gel-noted").textContent = byId("gel-bad").textContent = "";
  plainButtons();
  show();
  byId("gel").showModal();
}

const path = () => `/api/clock?part=${encodeURIComponent(part)}`;

// Tells the server, and sets the clock by what it answers.
async function tell(method, sent) {
  const name = part, asked = moment();
  const found = await ask(path(), method, sent);
  if (part === name) set(found.seconds_left, asked);
  return found;
}

async function begin() {
  const minutes = Number(byId("gel-minutes").value.replace(",", "."));
  byId("gel-bad").textContent = "";
  if (!part) { byId("gel-bad").textContent = words("part_missing"); return; }
  try {
    await tell("POST", { minutes });
    remember(MINUTES, String(minutes));
    byId("gel").close();
  } catch (error) {
    complain(error);
    if (error.status) followPart(part); // it may run already
  }
}

function complain(error) {
  byId("gel-bad").textContent = error.status ? error.message : words("server_gone");
}

let sure = ""; // which button was tapped once: a second tap means it
function isSure(name, question) {
  if (sure === name) return true;
  plainButtons();
  sure = name;
  byId(name).textContent = words(question);
  return false;
}

function plainButtons() {
  sure = "";
  byId("gel-stop").textContent = words("gel_stop");
  byId("gel-gelled").textContent = words("gelled");
}

async function gelled() {
  if (!isSure("gel-gelled", "gelled_sure")) return;
  try {
    const found = await tell("POST", { gelled: true });
    if (found.gelled !== null) byId("gel-noted").textContent = words("gelled_noted", { minutes: Math.round(found.gelled) });
  } catch (error) { complain(error); }
}

async function stop() {
  if (!isSure("gel-stop", "gel_stop_sure")) return;
  try { await tell("DELETE"); byId("gel").close(); }
  catch (error) { complain(error); }
}

// How long an answer took counts as gone: a slow one, or a sleep before it, must not add working time.
const moment = () => ({ ticks: performance.now(), wall: Date.now() });

let said = 0; // how often the clock was set
function set(seconds, asked = null) {
  said += 1;
  if ((seconds === null) !== (end === null)) plainButtons(); // asked again, a question stands
  end = seconds === null ? null : { ticks: asked.ticks + 1000 * seconds, wall: asked.wall + 1000 * seconds };
  show();
}

let stage = "";
function show() {
  const seconds = secondsLeft(), clock = byId("clock");
  const text = seconds === null ? words("gel") : clockText(seconds);
  if (clock.textContent !== text) clock.textContent = text;
  byId("gel-left").textContent = seconds === null ? "" : text;
  byId("gel-form").hidden = seconds !== null;
  byId("gel-stop").hidden = byId("gel-gelled").hidden = seconds === null;
  const now = seconds === null ? "" : seconds <= 0 ? "over" : seconds < HURRY ? "late" : "runs";
  clock.classList.toggle("runs", now !== "");
  clock.classList.toggle("late", now === "late");
  clock.classList.toggle("over", now === "over");
  if (now !== stage) { stage = now; changed(now); }
}
