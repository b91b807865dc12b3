// What this phone keeps, in IndexedDB: rounds being typed, rounds and photos that wait, and notes about itself.
//
// A later version only adds a step at the end of STEPS. No step may delete or clear a store: rounds wait in them that
// exist nowhere else (tests/journeys/test_without_signal.py opens a store of version 1 with the current code).
const NAME = "flyround";
const STEPS = [
  (base) => {
    base.createObjectStore("drafts", { keyPath: "key" });
    base.createObjectStore("rounds", { keyPath: "id" });
    base.createObjectStore("notes", { keyPath: "name" });
  },
  // Photos have a store of their own, so that a round is written in a moment however large they are.
  (base) => base.createObjectStore("photos", { keyPath: "id" }),
];
let opening = null;

const openedAs = (version) => new Promise((resolve, reject) => {
  const asked = indexedDB.open(NAME, version);
  asked.onupgradeneeded = (event) => {
    for (const step of STEPS.slice(event.oldVersion)) step(asked.result);
  };
  asked.onerror = () => reject(asked.error);
  asked.onsuccess = () => {
    const base = asked.result;
    // Another tab brings a newer version, or the browser closed it: opened anew at the next use.
    base.onversionchange = () => { base.close(); opening = null; };
    base.onclose = () => { opening = null; };
    resolve(base);
  };
});

const opened = () => {
  opening ??= openedAs(STEPS.length)
    // A newer version was here before: its stores hold what waits, so they are used as they are.
    .catch((error) => (error.name === "VersionError" ? openedAs(undefined) : Promise.reject(error)))
    .catch((error) => { opening = null; throw error; });
  return opening;
};

const answerOf = (asked) => new Promise((resolve, reject) => {
  asked.onsuccess = () => resolve(asked.result);
  asked.onerror = () => reject(asked.error);
});

// One transaction over some stores. `work` gets them by name and may await only what it asks of them; its result is
// given when everything is on the disk ("strict": a battery may die in the next second).
export const within = async (names, mode, work) => {
  const base = await opened();
  const change = base.transaction(names, mode, { durability: "strict" });
  const done = new Promise((resolve, reject) => {
    change.oncomplete = resolve;
    change.onabort = () => reject(change.error ?? new Error("The store gave up."));
  });
  done.catch(() => {});
  const ask = (name, what, ...given) => answerOf(change.objectStore(name)[what](...given));
  try {
    const result = await work(ask);
    await done;
    return result;
  } catch (error) {
    try { change.abort(); } catch { /* it is over already */ }
    throw error;
  }
};

export const readAll = (name) => within([name], "readonly", (ask) => ask(name, "getAll"));
export const readOne = (name, key) => within([name], "readonly", (ask) => ask(name, "get", key));
export const write = (name, value) => within([name], "readwrite", (ask) => ask(name, "put", value));
export const erase = (name, key) => within([name], "readwrite", (ask) => ask(name, "delete", key));

// Read, change and write in one transaction, so that two tabs never overwrite each other. `make` gets what is there
// (or undefined); what it gives is written, undefined leaves it.
export const change = (name, key, make) => within([name], "readwrite", async (ask) => {
  const made = make(await ask(name, "get", key));
  if (made !== undefined) await ask(name, "put", made);
  return made;
});

export const note = (name, value) => write("notes", { name, value });
export const noted = async (name) => (await readOne("notes", name))?.value;

// Something was sent from this phone that pages may show: those kept before are no longer shown at once (at-once.js).
export const changedNow = () => ({ name: "changed", value: Date.now() });
export const noteChange = () => write("notes", changedNow());
