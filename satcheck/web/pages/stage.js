// Which part of the page is there, what a screen reader hears, and the pictures' addresses.

import { byId, words } from "./wire.js";

let urls = [];

// take: the word on the one button; again: that it is what to do now.
export function go(at, take = "take_next", again = false) {
  document.body.dataset.at = at;
  if (at !== "working") delete document.body.dataset.doing;
  document.body.classList.toggle("again", again);
  byId("take-word").textContent = words(take);
  scrollTo(0, 0);
}

export function announce(text) {
  const said = byId("said");
  if (said.textContent !== text) said.textContent = text;
}

export function lock(sentence) {
  byId("locked-say").textContent = sentence;
  go("locked");
  announce(sentence);
}

export function keepUrl(url) { urls.push(url); return url; }
export function freeUrls() { urls.forEach((url) => URL.revokeObjectURL(url)); urls = []; }
