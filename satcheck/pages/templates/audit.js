"use strict";
const $ = (id) => document.getElementById(id);
const body = $("table").tBodies[0], rows = [...body.rows], cards = new Map();
for (const card of document.querySelectorAll("#cards article")) cards.set(card.dataset.row, card);
const said = new Map(rows.map((row) => [row, `${row.textContent} ${cards.get(row.dataset.row).textContent}`.toLowerCase()]));
const heads = [...document.querySelectorAll("#table th")], NUMBERS = ["urgency", "judged", "evenness", "photos"];
const inOrder = new Intl.Collator(undefined, { numeric: true });

// Hide what is not asked for, in the table and among the overlays.
function filter() {
  const words = $("words").value.toLowerCase().split(/\s+/).filter(Boolean), who = $("who")?.value ?? "";
  const wanted = new Set([...document.querySelectorAll("#outcomes input:checked")].map((box) => box.value));
  let count = 0;
  for (const row of rows) {
    const fits = wanted.has(row.dataset.outcome) && words.every((word) => said.get(row).includes(word))
      && (!who || row.dataset.who.split(", ").includes(who));
    row.hidden = cards.get(row.dataset.row).hidden = !fits;
    count += fits;
  }
  $("shown").textContent = count === rows.length ? `All ${count} parts shown.` : `${count} of ${rows.length} parts shown; the figures above and below are of all.`;
}

// Sort the table, and the overlays with it. Rows stay as they were where the key is the same.
function sort(key, down) {
  const compare = NUMBERS.includes(key)
    ? (a, b) => Number(a.dataset[key]) - Number(b.dataset[key])
    : (a, b) => inOrder.compare(a.dataset[key], b.dataset[key]);
  rows.sort((a, b) => (down ? compare(b, a) : compare(a, b)));
  body.append(...rows);
  $("cards").append(...rows.map((row) => cards.get(row.dataset.row)));
}
for (const head of heads) head.firstElementChild.onclick = (event) => {
  const down = head.getAttribute("aria-sort") === "ascending";
  for (const other of heads) other.setAttribute("aria-sort", other === head ? (down ? "descending" : "ascending") : "none");
  sort(event.currentTarget.dataset.key, down);
};
for (const input of document.querySelectorAll(".tools input, .tools select")) input.oninput = filter;
// A hidden overlay is not decoded until it is seen: print needs all of them at once.
addEventListener("beforeprint", () => { for (const image of document.images) image.loading = "eager"; });
filter();
