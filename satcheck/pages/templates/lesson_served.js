"use strict";
// Served by the shop's computer, results also go to its records, under initials: a trainer sees them
// on any device. From a file, nothing is sent, and the device keeps them.
const UNSENT = "satcheck-lesson-unsent";
let shopKey = null, unsent = [];
try {
  if (location.protocol.startsWith("http")) shopKey = localStorage.getItem("satcheck-key");
  unsent = JSON.parse(localStorage.getItem(UNSENT)) ?? [];
} catch { shopKey = null; }
const isServed = () => shopKey !== null;
function askShop(method, sent) {
  return fetch("/api/lesson/results", { method, headers: { "X-Satcheck-Key": shopKey }, body: sent && JSON.stringify(sent) });
}
function keepUnsent() { try { localStorage.setItem(UNSENT, JSON.stringify(unsent)); } catch { /* until the page closes */ } }
function report(search, counts) {
  if (!isServed()) return;
  const id = Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");
  unsent.push({ id, initials: who(), picture: search.name, fibre: search.fibre, counts });
  keepUnsent();
  flush();
}
async function flush() {
  for (const each of [...unsent]) {
    if (each.initials === "-") continue; // it waits until somebody says whose it is
    try {
      const answer = await askShop("POST", each);
      if (!answer.ok && answer.status !== 422) break;
    } catch { break; } // no network: with the next round
    unsent = unsent.filter((one) => one.id !== each.id);
    keepUnsent();
  }
  await hearOthers();
}
async function hearOthers() {
  try {
    const answer = await askShop("GET");
    if (answer.ok) {
      const { learners, newest } = await answer.json();
      store = learners;
      nameEveryone(newest);
      for (const { initials, picture, counts } of unsent) (store[initials] ??= []).push([picture, counts]);
      keep();
    }
  } catch { /* the device's own results stand */ }
  showProgress();
  showKept();
}
function nameEveryone(newest) { // so many rounds of all, where older ones are left out
  const cut = newest ? `, the newest ${newest} rounds alone` : "";
  $("everyone").querySelector("h2").textContent = `For the trainer: everyone in the shop's records${cut}`;
}
function claim() { // initials that are typed after a round take the rounds that had none
  for (const each of unsent) if (each.initials === "-") each.initials = who();
  keepUnsent();
  flush();
}
function showKept() {
  const open = unsent.length ? (who() === "-" ? " Type your initials: they wait for them." : " Some are not sent yet.") : "";
  $("kept-where").textContent = `Results go to the shop's records, under these initials.${open}`;
}
function startServed() {
  if (!isServed()) return;
  document.querySelector("header").prepend(make("a", "Bench", { href: "/", className: "to-bench" }));
  $("forget").hidden = true;
  nameEveryone(null);
  $("initials").addEventListener("change", () => { if (who() !== "-") claim(); });
  showKept();
  flush();
}
