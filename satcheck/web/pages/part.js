// Part, view and fibre: typed or chosen once, remembered on the phone.

import { followPart } from "./gel.js";
import { go } from "./stage.js";
import { byId, recall, remember, showPart, words } from "./wire.js";

const SETUP = "satcheck-setup";

const form = byId("setup");
export const setup = () => Object.fromEntries(new FormData(form));
export const partNumber = () => setup().part.trim().replace(/\s+/g, " ");

export function recallSetup() {
  let kept = {};
  try { kept = JSON.parse(recall(SETUP)) || {}; } catch { /* nothing was kept */ }
  const isTyped = byId("part").value !== ""; // on a slow phone, before this script came
  if (typeof kept.part === "string" && !isTyped) byId("part").value = kept.part;
  for (const name of ["view", "fibre"]) {
    const wanted = [...form.querySelectorAll(`[name=${name}]`)].find((one) => one.value === kept[name]);
    if (wanted) wanted.checked = true;
  }
}

export function adopt(facts) { // a photo that is opened by its address brings its own part, view and fibre
  byId("part").value = facts.part;
  for (const name of ["view", "fibre"]) {
    const wanted = [...form.querySelectorAll(`[name=${name}]`)].find((one) => one.value === facts[name]);
    if (wanted) wanted.checked = true; // a photo that was judged elsewhere may have no view
  }
  showWho();
  followPart(partNumber()); // the clock beside the part's name is its own
}

export function showWho() {
  const { view, fibre } = setup();
  showPart(partNumber());
  byId("who-rest").textContent = `${words(view)} · ${fibre}`;
  remember(SETUP, JSON.stringify({ ...setup(), part: partNumber() }));
}

export function partChanged() {
  byId("part-bad").textContent = "";
  byId("part").setAttribute("aria-invalid", "false");
  showWho();
  followPart(partNumber());
}

// Back to the number, and why; a photo waits for it.
export function askNumber(why) {
  byId("part-bad").textContent = words(why);
  byId("held-send").hidden = false;
  byId("part").setAttribute("aria-invalid", "true");
  if (location.hash) history.pushState(null, "", location.pathname);
  go("start", "take");
  byId("part").focus();
}

export function listenToSetup() {
  byId("part").addEventListener("change", partChanged);
  byId("part").addEventListener("input", () => { byId("part-bad").textContent = ""; });
  form.addEventListener("change", showWho);
  form.addEventListener("submit", (event) => { event.preventDefault(); byId("part").blur(); });
}
