// The lesson holds the shop's photos: it is asked for with the key, and takes this page's place.

import { byId, keyHeader, refusal, takeKey, words } from "./wire.js";

async function lesson() {
  const answer = await fetch("/api/lesson", { headers: keyHeader() });
  if (!answer.ok) throw await refusal(answer.status, await answer.text());
  return answer.text();
}

async function start() {
  if (!takeKey()) { byId("locked-say").textContent = words("key_missing"); return; }
  try {
    const page = await lesson();
    document.open();
    document.write(page);
    document.close();
  } catch (error) {
    byId("locked-say").textContent = error.status ? error.message : words("server_gone");
  }
}

start();
