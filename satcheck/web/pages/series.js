// What the part's other photos add: what to do next, what changed, each zone's course, the views.

import { byId, LETTERS, letterRow, make, words } from "./wire.js";

export function showSeries(found, stage) {
  byId("plan").replaceChildren(...found.plan.sentences.map((sentence) => make("li", sentence)));
  byId("rules").replaceChildren(...(stage ? [] : found.plan.rules.map(rule)));
  if (!stage) byId("rules").append(make("p", found.plan.caveat, { class: "small" }));
  byId("weight").hidden = !found.weight;
  byId("weight-say").textContent = found.weight ? found.weight.sentence : "";
  byId("changed").textContent = found.change.join(" ");
  byId("zones").replaceChildren(...zoneOrder(found.zones).map(zoneBox));
  byId("views").replaceChildren(...found.views.views.map(viewBox));
  byId("whole").textContent = found.views.whole;
  byId("unseen").textContent = found.views.sentences.join(" ");
  byId("more").hidden = false;
}

function rule(told) {
  const box = make("details"), why = [told.reason, told.caution].filter(Boolean).join(" ");
  box.append(make("summary", told.sentence), make("p", `${why} (${told.origin})`));
  return box;
}

// Brim on top, lock below, as the part stands with the proximal end up.
function zoneOrder(zones) {
  const end = (name) => zones.filter((zone) => zone.zone === name);
  return [...end("brim"), ...zones.filter((z) => z.zone !== "brim" && z.zone !== "lock"), ...end("lock")];
}

function zoneBox(zone) {
  const now = zone.words.at(-1), wide = zone.zone === "brim" || zone.zone === "lock";
  const box = make("div", "", wide ? { class: "wide" } : {});
  const line = make("p", "", { class: "now", "data-v": now });
  line.append(make("i", "", { "aria-hidden": "true" }), make("span", words(now)));
  box.append(make("h3", words(zone.zone)), line);
  if (zone.words.length > 1) box.append(letterRow(zone.words), curve(zone));
  return box;
}

// Up is more resin; the band is good. The order of the scale, not grams.
function curve(zone) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const last = Math.max(1, zone.words.length - 1);
  const at = (point) => [6 + (88 * point.photo) / last, 17 - 14 * Math.max(-1, Math.min(1, 2 * point.place))];
  svg.setAttribute("viewBox", "0 0 100 34");
  svg.setAttribute("preserveAspectRatio", "none");
  svg.setAttribute("aria-hidden", "true");
  draw(svg, "rect", { x: 0, y: 11, width: 100, height: 12, fill: "#dfe3e1" });
  const points = zone.places.map(at);
  draw(svg, "polyline", {
    points: points.map((p) => p.join(",")).join(" "), fill: "none", stroke: "#14212b",
    "stroke-width": 3, "vector-effect": "non-scaling-stroke", "stroke-linecap": "round",
  });
  if (points.length === 1) draw(svg, "circle", { cx: points[0][0], cy: points[0][1], r: 3 });
  return svg;
}

function draw(svg, tag, attributes) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  svg.append(made);
}

function viewBox(view) {
  const seen = view.id !== null;
  const box = make(seen ? "a" : "div", "", seen ? { href: `#photo=${view.id}`, "data-v": view.verdict } : {});
  const text = make("span");
  text.append(make("b", words(view.view)), make("span", seen ? words(view.verdict) : "–"));
  box.append(make("i", "", { "aria-hidden": "true" }), text);
  if (!seen) box.firstChild.remove();
  return box;
}

export { LETTERS };
