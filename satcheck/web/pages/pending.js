// Photos that are not through yet, kept on the phone: a page that is closed or reloaded loses none.
// Where a browser keeps nothing (a private window), everything else works, and the page says so.

const KEEP_FOR = 24 * 3600 * 1000; // ms; after a day the part has long been decided on (own rule)

let opened = null;
function store() {
  opened ??= new Promise((done, fail) => {
    const request = indexedDB.open("satcheck", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("photos");
    request.onsuccess = () => done(request.result);
    request.onerror = () => fail(request.error);
  });
  return opened;
}

async function using(mode, work) {
  try {
    const change = (await store()).transaction("photos", mode);
    const request = work(change.objectStore("photos"));
    return await new Promise((done, fail) => {
      change.oncomplete = () => done(request.result); // before that a reload undoes it
      change.onerror = change.onabort = () => fail(change.error);
    });
  } catch { return undefined; }
}

export const keepPhoto = (shot, file) => using("readwrite", (all) => all.put({ shot, file, at: Date.now() }, shot.id));
export const dropPhoto = (id) => using("readwrite", (all) => all.delete(id));
export const keptPhoto = (id) => using("readonly", (all) => all.get(id));

// The photos that are not through, oldest first.
export async function unsent() {
  const found = ((await using("readonly", (all) => all.getAll())) ?? []).sort((a, b) => a.at - b.at);
  const old = found.filter((one) => Date.now() - one.at > KEEP_FOR);
  await Promise.all(old.map((one) => dropPhoto(one.shot.id)));
  return found.filter((one) => !old.includes(one));
}
