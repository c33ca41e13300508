// The key, the words, and how to ask the server. The key comes in the address behind "#k=", which a
// browser never sends; it is kept on the phone and goes with every request as a header.

const table = JSON.parse(document.getElementById("words").textContent);
const KEY = "satcheck-key";
const PATIENCE = 40000; // ms; twice what the server holds an answer back for news (own rule)

export const byId = (name) => document.getElementById(name);

export function words(name, values = {}) {
  return (table[name] ?? name ?? "").replace(/\{(\w+)\}/g, (_, field) => values[field]);
}

export function remember(name, value) {
  try { localStorage.setItem(name, value); } catch { /* a private window: it works until it closes */ }
}

export function recall(name) {
  try { return localStorage.getItem(name); } catch { return null; }
}

let key = recall(KEY);

export function takeKey() {
  const found = /^#k=([\w-]+)$/.exec(location.hash);
  if (found) {
    key = found[1];
    remember(KEY, key);
    history.replaceState(null, "", location.pathname);
  }
  return key !== null;
}

export function keyHeader() {
  return { "X-Satcheck-Key": key };
}

export class Refusal extends Error {
  constructor(status, problem, sentence, field = null) {
    super(sentence);
    this.status = status;
    this.problem = problem;
    this.field = field;
  }
  get isAboutKey() { return [401, 421, 429].includes(this.status); }
}

export async function refusal(status, text) {
  try {
    const told = JSON.parse(text);
    return new Refusal(status, told.problem, told.sentence, told.field);
  } catch {
    return isPage(text) ? foreign() : new Refusal(status, "bad_request", words("bad_request"));
  }
}

const isPage = (text) => text.trimStart().startsWith("<");

// What is to be thrown where a Wi-Fi's sign-in page, say, stands between; 502, so that it is tried again.
export const foreign = () => new Refusal(502, "not_satcheck", words("not_satcheck"));

// Returns what satcheck said; throws a Refusal where something else has answered.
export function understood(text) {
  try {
    const told = JSON.parse(text);
    if (told instanceof Object) return told;
  } catch { /* no JSON: nothing of satcheck's */ }
  throw foreign();
}

// Returns what the server answers; throws a Refusal with its sentence, or an error without a status
// where there is no network, or where a connection that broke unseen brings nothing any more.
export async function ask(path, method = "GET", sent = undefined) {
  const patience = new AbortController(), timer = setTimeout(() => patience.abort(), PATIENCE);
  try {
    const answer = await fetch(path, { method, headers: keyHeader(), body: sent && JSON.stringify(sent), signal: patience.signal });
    if (!answer.ok) throw await refusal(answer.status, await answer.text());
    return understood(await answer.text());
  } finally { clearTimeout(timer); }
}

// Returns the address of a picture, or null where a photo was judged elsewhere and none was kept.
export async function pictureIfKept(path) {
  try { return await picture(path); } catch (error) {
    if (error.status === 404) return null;
    throw error;
  }
}

export async function picture(path) {
  const answer = await fetch(path, { headers: keyHeader() });
  if (!answer.ok) throw await refusal(answer.status, await answer.text());
  return URL.createObjectURL(await answer.blob());
}

// crypto.randomUUID is missing on plain http; random bytes are not.
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

export const pause = (ms) => new Promise((done) => setTimeout(done, ms));

export function make(tag, text = "", attributes = {}) {
  const made = document.createElement(tag);
  made.textContent = text;
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  return made;
}

export const LETTERS = { starved: "S", lean: "L", good: "G", heavy: "H", rich: "R", "not judged": "?" };

const LONG = 10; // characters of a part's number from which it is set smaller in the bar (own rule)

export function showPart(name) {
  byId("who-part").textContent = name;
  byId("who").classList.toggle("long", name.length > LONG);
}

// A row of letters, the newest bold.
export function letterRow(verdicts) {
  const row = make("span", "", { class: "row", role: "img", "aria-label": verdicts.map((verdict) => words(verdict)).join(", ") });
  verdicts.forEach((verdict, at) => {
    row.append(make("span", LETTERS[verdict], { class: at === verdicts.length - 1 ? "is" : "was" }));
  });
  return row;
}
