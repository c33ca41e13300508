// The part's number from the card in a photo. Plain http has no live camera, so a photo is taken;
// it is made small here where the browser can, and read by the shop's computer.

import { keyHeader, refusal, understood } from "./wire.js";

const SIDE = 1800; // px: the card's code stays readable where the card fills a third of the picture

export async function readCard(file) {
  const answer = await fetch("/api/card", { method: "POST", headers: keyHeader(), body: await small(file) });
  if (!answer.ok) throw await refusal(answer.status, await answer.text());
  return understood(await answer.text()).part;
}

async function small(file) {
  try {
    const picture = await createImageBitmap(file), scale = Math.min(1, SIDE / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    return (await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.9))) ?? file;
  } catch { return file; } // a format that this browser does not show
}
