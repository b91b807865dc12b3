// What waits as a file, and back from one. The form is described in docs/waiting-rounds-file.md.
import { within } from "./store.js";
import { tell } from "./queue.js";

const FORMAT = "flyround-waiting-rounds";
const VERSION = 1;
const ID = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/;

const toText = (bytes) => {
  let text = "";
  for (const byte of new Uint8Array(bytes)) text += String.fromCharCode(byte);
  return btoa(text);
};
const toBytes = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;

const ROUND = ["id", "farm", "farm_name", "holder", "initials", "stations", "begun_at", "submitted_at", "fields"];
const PHOTO = ["id", "round", "farm", "holder", "station", "kind", "taken_at", "type"];
const only = (names, item) => Object.fromEntries(names.map((name) => [name, item[name] ?? null]));

export const saveAsFile = ({ rounds, photos }) => {
  const kept = {
    format: FORMAT, version: VERSION, saved_at: new Date().toISOString(),
    rounds: rounds.map((round) => only(ROUND, round)),
    photos: photos.map((photo) => ({ ...only(PHOTO, photo), bytes: toText(photo.bytes) })),
  };
  const address = URL.createObjectURL(new Blob([JSON.stringify(kept, null, 1)], { type: "application/json" }));
  const link = Object.assign(document.createElement("a"), { href: address });
  link.download = `flyround-rounds-${kept.saved_at.slice(0, 10)}.json`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
};

const isText = (value) => typeof value === "string" && value.length < 10_000;
const isField = (pair) => Array.isArray(pair) && pair.length === 2 && pair.every(isText);
const isRound = (item) =>
  [item?.id, item?.farm].every((id) => ID.test(id)) && [item.farm_name, item.holder, item.initials].every(isText) &&
  [item.begun_at, item.submitted_at].every(Number.isFinite) && Array.isArray(item.fields) && item.fields.every(isField);
const isPhoto = (item) =>
  [item?.id, item?.farm, item?.round].every((id) => ID.test(id)) && (item.station === null || ID.test(item.station)) &&
  [item.holder, item.kind, item.taken_at, item.type].every(isText) && typeof item.bytes === "string";

// How many rounds were put into the queue. One that waits here already stays as it is. Throws where the file is another.
export const loadFile = async (text) => {
  const kept = JSON.parse(text);
  const right = kept?.format === FORMAT && kept.version === VERSION && Array.isArray(kept.rounds) && Array.isArray(kept.photos);
  if (!right || !kept.rounds.every(isRound) || !kept.photos.every(isPhoto)) throw new TypeError("not such a file");
  const fresh = { state: "waiting", tries: 0, next_at: 0 };
  const photos = kept.photos.map((photo) => ({ ...only(PHOTO, photo), bytes: toBytes(photo.bytes), ...fresh, may_go: false }));
  const added = await within(["rounds", "photos"], "readwrite", async (ask) => {
    let number = 0;
    for (const round of kept.rounds) {
      if (await ask("rounds", "get", round.id)) continue;
      await ask("rounds", "put", { ...only(ROUND, round), ...fresh });
      number += 1;
    }
    for (const photo of photos) if (!(await ask("photos", "get", photo.id))) await ask("photos", "put", photo);
    return number;
  });
  tell("added");
  return added;
};
