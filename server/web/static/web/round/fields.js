// What stands in the fields of a round, read anew each time: whoever filled them, a person, a draft or undo.
import { cupsOf } from "./cups.js";

const DAY = 24 * 3600 * 1000;
export const COUNT = /^\s*[0-9]{1,9}\s*$/;

export const field = (place, name) => place.querySelector(`[name$="-${name}"]`);
const value = (place, name) => field(place, name)?.value.trim() ?? "";
const ticked = (place, name) => field(place, name)?.checked ?? false;

export const reasonOf = (place) => place.querySelector('[name$="-reason"]:checked');
export const animalBoxes = (place) => [...place.querySelectorAll(".animals input")];

// Whole numbers, one an animal; null while something else stands among them.
export const animalsOf = (place) => {
  const parts = animalBoxes(place).flatMap((box) => box.value.split(/[\s,;]+/)).filter(Boolean);
  return parts.every((part) => /^[0-9]{1,7}$/.test(part)) ? parts.map(Number) : null;
};

// The page chose a reason itself where a label keeps people out. A number that stands there all the same, or a card that
// hangs where none did, whoever put it there and when, takes it away, as server/web/forms/count.py does without scripts.
export const presetGivesWay = (place) => {
  const boxes = [field(place, "count"), field(place, "cups"), ...animalBoxes(place)];
  const preset = value(place, "preset");
  const none = place.querySelector('[name$="-reason"][value=""]');
  const untouched = preset && reasonOf(place)?.value === preset;
  if (none && untouched && (boxes.some((box) => box?.value.trim()) || hangsFirst(place))) none.checked = true;
};

// Nothing hung here before, and now something does.
export const hangsFirst = (place) => "first" in place.dataset && ticked(place, "fresh");

// "station.placement.hung on", as the page wrote it.
const lineOf = (place) => place.querySelector('[name="line"]').value.split(".");
export const stationOf = (place) => lineOf(place)[0];

const daysBetween = (from, to) => (from && to ? Math.round((Date.parse(to) - Date.parse(from)) / DAY) : null);

// How many were counted on what: [count, part, days or animals]; a null count where there is none to be read.
const countedIn = (place, days) => {
  if (place.dataset.method === "leg") {
    const animals = animalsOf(place);
    if (!animals?.length) return { readable: animals !== null, count: null };
    const count = animals.reduce((one, other) => one + other);
    return { readable: true, count, part: [1, 1], exposure: animals.length, animals };
  }
  const [text, cups, part] = [value(place, "count"), value(place, "cups"), value(place, "part") || "1"];
  if (cups) return { readable: cupsOf(cups) !== null, count: cupsOf(cups), part: [1, 1], exposure: days };
  const readable = !text || COUNT.test(text);
  return { readable, count: text && readable ? Number(text) : null, part: [1, Math.round(1 / part)], exposure: days };
};

// One station as it stands: what was found, why not, and which of the words tells it.
export const readStation = (place, walkedOn) => {
  const [station, , hungOn] = lineOf(place);
  const days = daysBetween(hungOn || value(place, "hung_on"), walkedOn);
  const reason = reasonOf(place);
  const found = countedIn(place, days);
  const dropped = ticked(place, "keep_first");
  const entry = { station, reason: dropped ? "" : (reason?.value ?? ""), at_least: ticked(place, "at_least"), ...found };
  entry.sprayed = place.querySelector('[name$="-sprayed"]:checked')?.value === "yes";
  entry.reasonWord = reason?.value ? reason.closest("label").textContent.trim() : "";
  if (dropped) entry.count = null;
  entry.state = !found.readable ? "wrong"
    : entry.reason ? "uncounted"
    : entry.count !== null ? "counted"
    : dropped || hangsFirst(place) ? "hung"
    : "open";
  return entry;
};
