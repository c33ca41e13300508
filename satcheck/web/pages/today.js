// Today's parts on a large screen: each with its views' series, the newest on top; asks again by itself.

import { ask, byId, letterRow, LETTERS, make, pictureIfKept, takeKey, words } from "./wire.js";

const EVERY = 10000; // ms
const pictures = new Map(); // id -> URL of its picture

let board = ""; // what the board shows, as it came

async function refresh() {
  try {
    const told = await ask("/api/today"), { parts, photos } = told;
    if (board !== JSON.stringify(told)) { // else whoever reads, marks or tabs along would lose the place
      const cards = await Promise.all(parts.map(card));
      byId("parts").replaceChildren(...cards);
      board = JSON.stringify(told);
      forget(parts);
    }
    byId("count").textContent = since(photos, parts.length);
    byId("tally").replaceChildren(...tally(parts));
    document.body.dataset.at = "today";
  } catch (error) {
    if (error.isAboutKey) lock(error.message);
    else byId("count").textContent = error.status ? error.message : words("server_gone");
  }
}

// How many photos there are of how many parts, each word in its right number.
function since(photos, parts) {
  if (!photos) return words("today_none");
  if (photos === 1) return words("today_one");
  return words(parts === 1 ? "today_part" : "today_count", { photos, parts });
}

// How many parts stand at each verdict, the urgent ones first.
function tally(parts) {
  const verdicts = parts.map((part) => part.newest.verdict);
  return Object.keys(LETTERS).filter((one) => verdicts.includes(one)).map((verdict) => {
    const item = make("li", "", { "data-v": verdict }), count = verdicts.filter((one) => one === verdict).length;
    item.append(make("i", "", { "aria-hidden": "true" }), make("span", words("today_tally", { count, verdict: words(verdict) })));
    return item;
  });
}

async function card(part) {
  const { newest } = part;
  const box = make("article", "", { class: "part" });
  const link = make("a", "", { href: `/#photo=${newest.id}` });
  const address = await shownBy(newest.id);
  if (address) link.append(make("img", "", { src: address, alt: `${part.part}, ${words(newest.view)}` }));
  const told = make("div"), head = make("header");
  head.append(make("h2", part.part), make("p", `${part.fibre}, ${clock(newest.time)}`, { class: "small" }));
  const verdict = make("div", "", { class: "verdict", "data-v": newest.verdict });
  verdict.append(make("div", "", { class: "band", "aria-hidden": "true" }),
    make("p", words(newest.verdict), { class: "verdict-word" }), make("p", newest.where, { class: "where" }));
  told.append(head, verdict);
  if (part.weight) told.append(make("p", words("today_weight", { weight: words(`weight_${part.weight}`) }), { class: "weight" }));
  told.append(views(part));
  box.append(link, told);
  return box;
}

function views(part) {
  const list = make("dl");
  for (const { view, photos } of part.views) {
    if (!view && !photos.length) continue;
    const row = make("dd");
    row.append(photos.length ? letterRow(photos.map((photo) => photo.verdict)) : "–");
    list.append(make("dt", words(view || "view_unknown")), row);
  }
  return list;
}

async function shownBy(id) {
  if (!pictures.has(id)) pictures.set(id, await pictureIfKept(`/api/photos/${id}/marks.jpg`));
  return pictures.get(id);
}

// Pictures that the board shows no more; it stays open for weeks.
function forget(parts) {
  for (const [id, address] of pictures) {
    if (parts.some((part) => part.newest.id === id)) continue;
    if (address) URL.revokeObjectURL(address);
    pictures.delete(id);
  }
}

const clock = (time) => new Date(time).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });

function lock(sentence) {
  byId("locked-say").textContent = sentence;
  document.body.dataset.at = "locked";
}

if (takeKey()) {
  refresh();
  setInterval(refresh, EVERY);
} else lock(words("key_missing"));

export { LETTERS };
