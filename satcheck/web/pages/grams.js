// The sheets of the scale: figures typed with large keys, kept by the server, shown again after a reload.

import { followPart, openGel, startGel } from "./gel.js";
import { ask, byId, make, newId, picture, recall, remember, showPart, takeKey, words } from "./wire.js";

const SETUP = "satcheck-setup"; // part, view and fibre, as the bench remembers them
const DRAFT = "satcheck-grams"; // what was typed of this part and is not kept yet
const HABIT = "satcheck-habit"; // what seldom changes from part to part
const HABITS = ["resin", "low", "high", "mix_cup", "mix_bag", "mix_film", "scale", "resin_density", "fibre_density"];
const PATHS = { mix: "/api/grams/mix", weigh: "/api/grams/weigh" };

const form = byId("figures");
const inputs = [...form.querySelectorAll(".cell input")];
let part = "", fibre = "";
let kept = { mix: null, weigh: null };
let asking = false;

const sheet = () => document.body.dataset.sheet;
const visible = () => inputs.filter((one) => one.checkVisibility());
const parsed = (name) => { try { return JSON.parse(recall(name)) || {}; } catch { return {}; } };

// ---- which sheet, and whether its figures or its answer

function open(name, wanted = null) {
  document.body.dataset.sheet = name;
  for (const each of ["mix", "weigh"]) byId(`to-${each}`).setAttribute("aria-pressed", String(each === name));
  const at = wanted || (kept[name] ? "answer" : "form");
  document.body.dataset.at = at;
  byId("bad").textContent = "";
  if (at === "answer") show(name);
  else { fill(name); showLast(); }
  scrollTo(0, 0);
  history.replaceState(null, "", `#${name}`);
}

function lock(sentence) {
  byId("locked-say").textContent = sentence;
  document.body.dataset.at = "locked";
}

// ---- figures

function fill(name) {
  const draft = parsed(DRAFT), other = kept[name === "mix" ? "weigh" : "mix"];
  const shared = other ? pick(other.fields, ["resin", "fibre", "dry_fabric", "low", "high", "resin_density", "fibre_density"]) : {};
  const known = { ...parsed(HABIT), ...shared, ...(kept[name] ? kept[name].fields : {}), ...(draft.part === part ? draft[name] : {}) };
  for (const input of inputs) input.value = known[input.name] ?? "";
  for (const one of form.querySelectorAll("[type=radio]")) one.checked = one.value === { ...known, fibre: known.fibre ?? fibre }[one.name];
  for (const box of form.querySelectorAll("details")) box.open = [...box.querySelectorAll("input")].some((one) => one.value && one.name !== "scale");
}

const pick = (from, names) => Object.fromEntries(names.filter((name) => name in from).map((name) => [name, from[name]]));

function typed() {
  const found = Object.fromEntries(inputs.filter((one) => !one.closest(sheet() === "mix" ? ".weigh" : ".mix")).map((one) => [one.name, one.value.trim()]));
  for (const chosen of form.querySelectorAll("[type=radio]:checked")) found[chosen.name] = chosen.value;
  return found;
}

function keepDraft() {
  const draft = parsed(DRAFT);
  remember(DRAFT, JSON.stringify({ ...(draft.part === part ? draft : {}), part, [sheet()]: typed() }));
}

function dropDraft() {
  const draft = parsed(DRAFT);
  delete draft[sheet()];
  remember(DRAFT, JSON.stringify(draft));
}

// The hardener is never filled in: the data sheet gives it. One tap takes what this resin had last.
const lastHardener = () => parsed(HABIT).hardeners?.[typed().resin_density || typed().resin];
function showLast() {
  const last = lastHardener(), button = byId("last-hardener");
  button.hidden = last === undefined || form.elements.hardener.value !== "";
  button.textContent = last === undefined ? "" : words("last_time", { value: `${last} %` });
}

function learnHabits(told) {
  const habit = { ...parsed(HABIT), ...pick(told, HABITS.filter((name) => name in told)) };
  if (told.hardener) habit.hardeners = { ...habit.hardeners, [told.resin_density || told.resin]: told.hardener };
  remember(HABIT, JSON.stringify(habit));
}

// ---- keys

function press(key) {
  const input = inputs.includes(document.activeElement) ? document.activeElement : visible()[0];
  if (key === "next") { step(input); return; }
  input.focus();
  let { selectionStart: from, selectionEnd: to } = input;
  if (key === "back" && from === to) from = Math.max(0, from - 1);
  const text = key === "back" ? "" : key, next = input.value.slice(0, from) + text + input.value.slice(to);
  if (next.length <= input.maxLength && next.split(".").length < 3) input.setRangeText(text, from, to, "end");
  changed(input);
}

function step(input) {
  const all = visible(), next = all[(all.indexOf(input) + 1) % all.length];
  next.focus();
  next.closest(".cell").scrollIntoView({ block: "center" });
}

function changed(input) {
  input.closest(".cell")?.classList.remove("wrong");
  byId("bad").textContent = "";
  keepDraft();
  showLast();
}

// ---- ask

async function go() {
  if (asking) return; // a second tap
  asking = true;
  byId("go").disabled = true;
  const name = sheet(), entries = typed();
  try {
    kept[name] = await ask(PATHS[name], "POST", { id: newId(), part, entries });
    learnHabits(entries);
    dropDraft();
    open(name, "answer");
    byId(name === "mix" ? "mixed" : "weighed").focus({ preventScroll: true });
  } catch (error) {
    if (error.isAboutKey) lock(error.message);
    else complain(error);
  } finally {
    asking = false;
    byId("go").disabled = false;
  }
}

function complain(error) {
  byId("bad").textContent = error.status ? error.message : words("server_gone");
  if (error.field === "resin" && !typed().resin) form.querySelector(".choice").scrollIntoView({ block: "center" });
  const input = error.field && inputs.find((one) => [error.field, `${error.field}_density`].includes(one.name));
  if (!input) return;
  const box = input.closest("details");
  if (box) box.open = true;
  input.closest(".cell").classList.add("wrong");
  input.focus();
  input.closest(".cell").scrollIntoView({ block: "center" });
}

// ---- what came of it

const clock = (time) => new Date(time).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
const lines = (all) => all.map((text) => make("p", text));

function show(name) {
  const told = kept[name], root = byId(name === "mix" ? "mixed" : "weighed");
  root.querySelector(".warnings").replaceChildren(...lines(told.warnings.map((warning) => words("look_again", { warning }))));
  root.querySelector(".saved").textContent = [words("grams_saved", { time: clock(told.saved) }),
    told.replaces ? words("grams_replaces", { time: clock(told.replaces) }) : ""].filter(Boolean).join(" ");
  root.querySelector(".cautions").replaceChildren(...lines([...told.cautions, ...(told.limits || [])]));
  (name === "mix" ? showMix : showWeigh)(told);
}

function showMix(told) {
  byId("amounts").replaceChildren(...told.amounts.map(({ word, grams, how }) => {
    const row = make("li");
    row.append(make("b", words(`amount_${word}`)), make("em", grams), ...(how ? [make("small", how)] : []));
    return row;
  }));
  byId("mix-what").textContent = told.what;
  byId("first-caution").textContent = told.cautions[0];
  byId("experience").replaceChildren(...lines(told.experience));
  byId("sums").replaceChildren(...lines(told.sums));
  announce(told.amounts.map(({ word, grams }) => `${words(`amount_${word}`)} ${grams} g`).join(", "));
}

function showWeigh(told) {
  byId("by-weight").dataset.w = told.by_weight;
  byId("weight-word").textContent = words(`weight_${told.by_weight}`);
  const worst = told.photos[0]?.verdict; // the worst comes first
  const but = ["starved", "rich"].includes(worst) ? words("weight_but", { verdict: words(worst) }) : "";
  byId("weight-but").textContent = but;
  byId("weight-resin").textContent = told.resin;
  byId("weight-wanted").textContent = told.wanted;
  byId("all-figures").replaceChildren(...lines(told.figures));
  byId("photos").replaceChildren(...(told.photos.length ? told.photos.map(photo) : lines([words("weight_no_photo")])));
  announce(`${words(`weight_${told.by_weight}`)}. ${but} ${told.resin} ${told.photos[0]?.sentence ?? ""}`);
}

function photo({ id, view, verdict, time, sentence }) {
  const box = make("a", "", { href: `/#photo=${id}`, "data-v": verdict }), text = make("span");
  text.append(make("b", `${words(view)}: ${words(verdict)}, ${clock(time)}`), make("span", sentence));
  box.append(make("i", "", { "aria-hidden": "true" }), text);
  return box;
}

function announce(text) { byId("said").textContent = text; }

async function printCard() {
  try {
    const url = await picture(`/api/grams/card.pdf?part=${encodeURIComponent(part)}`);
    make("a", "", { href: url, download: `mix-${part}.pdf` }).click();
  } catch (error) { announce(error.status ? error.message : words("server_gone")); }
}

// ---- start

function listen() {
  for (const name of ["mix", "weigh"]) byId(`to-${name}`).addEventListener("click", () => open(name));
  for (const key of document.querySelectorAll("[data-key]")) {
    key.addEventListener("pointerdown", (event) => event.preventDefault()); // the field keeps the focus
    key.addEventListener("click", () => press(key.dataset.key));
  }
  form.addEventListener("input", (event) => changed(event.target));
  form.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); step(event.target); } });
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("focusin", (event) => event.target.select?.());
  byId("last-hardener").addEventListener("click", () => { form.elements.hardener.value = lastHardener(); changed(form.elements.hardener); });
  byId("go").addEventListener("click", go);
  byId("change").addEventListener("click", () => open(sheet(), "form"));
  byId("start-clock").addEventListener("click", openGel);
  byId("print-card").addEventListener("click", printCard);
}

async function start() {
  if (!takeKey()) { lock(words("key_missing")); return; }
  ({ part = "", fibre = "" } = parsed(SETUP));
  showPart(part);
  byId("who-rest").textContent = fibre;
  startGel((stage) => { byId("start-clock").hidden = stage !== ""; });
  listen();
  if (!part) { document.body.dataset.at = "nopart"; return; }
  const wanted = location.hash === "#weigh" ? "weigh" : "mix";
  try {
    kept = await ask(`/api/grams?part=${encodeURIComponent(part)}`);
    fibre = kept.fibre ?? fibre; // as the part's photos say
    byId("who-rest").textContent = fibre;
    await followPart(part);
  } catch (error) {
    if (error.isAboutKey) { lock(error.message); return; }
  }
  open(wanted);
}

start();
