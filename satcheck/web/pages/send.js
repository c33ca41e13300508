// A photo on its way: in pieces, each taken up where the server has it, until it is through or given up.

import { ask, foreign, keyHeader, pause, refusal, understood } from "./wire.js";

const PIECE = 1 << 20;
const PATIENCE = 30000; // ms without a byte moving, after which a piece is sent again

// Sends a file; calls told({state, percent}) on the way, and returns the server's last answer.
export async function send(shot, file, told, given) {
  let state = await stubborn(() => ask("/api/photos", "POST", shot), told, given);
  while (state.state === "sending" && !given.up) {
    const from = state.received;
    told({ state: "sending", percent: percent(from, file.size) });
    state = await stubborn(
      () => putPiece(shot.id, file, from, told, given),
      told, given,
      () => ask(`/api/photos/${shot.id}`),
    );
  }
  return state;
}

// Tries until the network is there; after a break, asks first how much has come.
async function stubborn(work, told, given, after = null) {
  for (let tries = 0; ; tries += 1) {
    try {
      const state = await (tries && after ? after() : work());
      if (typeof state.state !== "string") throw foreign();
      return state;
    } catch (error) {
      if (error.status || given.up) throw error; // somebody has answered: no network trouble
      told({ state: "lost" });
      await pause(Math.min(500 * 2 ** tries, 4000));
    }
  }
}

function putPiece(id, file, from, told, given) {
  const piece = file.slice(from, from + PIECE);
  return new Promise((done, fail) => {
    const request = new XMLHttpRequest(); // fetch tells no progress of what is sent
    let timer = 0;
    const watch = () => { clearTimeout(timer); timer = setTimeout(() => request.abort(), PATIENCE); };
    request.open("PUT", `/api/photos/${id}?offset=${from}`);
    for (const [name, value] of Object.entries(keyHeader())) request.setRequestHeader(name, value);
    request.upload.onprogress = (event) => {
      watch();
      told({ state: "sending", percent: percent(from + event.loaded, file.size) });
    };
    request.onload = () => { clearTimeout(timer); done(answered(request)); };
    request.onerror = request.onabort = () => { clearTimeout(timer); fail(new TypeError("network")); };
    given.stop = () => request.abort();
    watch();
    request.send(piece);
  });
}

async function answered(request) {
  const good = request.status === 200 || request.status === 409; // 409 says where to go on
  if (!good) throw await refusal(request.status, request.responseText);
  return understood(request.responseText);
}

// Waits until a photo is judged; told() hears how many are before it.
export async function wait(id, told, given) {
  let state = await stubborn(() => ask(`/api/photos/${id}`), told, given);
  while (["waiting", "measuring"].includes(state.state) && !given.up) {
    told(state);
    const seconds = state.state === "waiting" ? 0.5 : 20;
    state = await stubborn(() => ask(`/api/photos/${id}?wait=${seconds}`), told, given);
  }
  return state;
}

const percent = (part, whole) => Math.min(100, Math.floor((100 * part) / whole));
