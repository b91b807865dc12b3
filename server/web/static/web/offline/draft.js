// A round that is being typed: every entry is written to the store at once, and put back when the page opens.
import { tell } from "./queue.js";
import { change } from "./store.js";
import { uuid7 } from "./ids.js";

// A page hears what it says itself, too: this tells its own words from another tab's.
export const TAB = uuid7();
const DAY = 24 * 3600 * 1000;
const ID = /^walk-(round|note)_id$|-(reading|hung)_id$/;
const NOT_TYPED = /^csrfmiddlewaretoken$|^line$|^walk-(observed_at|submitted_at|sent_at|by_clock)$/;

const fieldsOf = (form) => [...form.elements].filter((field) => field.name && field.type !== "file");
const named = (form, name) => fieldsOf(form).filter((field) => field.name === name);
const prefixOf = (line) => line.split(".").slice(0, 2).reverse().find((part) => part);

// What stands in the form: every name with its values, an empty list where nothing is ticked.
const standing = (form) => {
  const found = new Map();
  for (const { name } of fieldsOf(form)) if (!ID.test(name) && !NOT_TYPED.test(name)) found.set(name, []);
  for (const [name, value] of new FormData(form)) found.get(name)?.push(value);
  return found;
};

const idsOf = (form) => Object.fromEntries(fieldsOf(form).filter(({ name }) => ID.test(name)).map((f) => [f.name, f.value]));

// What stood in a field when the page came.
const cameWith = (field) => {
  if (field.matches(":disabled")) return [];
  if (field.type === "checkbox" || field.type === "radio") return field.defaultChecked ? [field.value] : [];
  if (field.type !== "select-one") return [field.defaultValue];
  const chosen = [...field.options].find((option) => option.defaultSelected) ?? field.options[0];
  return chosen ? [chosen.value] : [];
};

// What was typed before any script ran: it didn't come with the page. The day isn't looked at, which a clock may set.
export const typedEarly = (form, { values }) => {
  const came = (name) => named(form, name).flatMap(cameWith);
  const differs = ([name, list]) => name !== "walk-walked_on" && !(name in values) && !same(came(name), list);
  return [...standing(form)].filter(differs).map(([name]) => name);
};

export const roundIdOf = (form) => form.elements["walk-round_id"].value;

// The draft of this page: one that is there, also just made by another tab, or a new one with ids of its own. The ids
// that came with the page are never used: a page from the cache would give two rounds the same.
export const openDraft = (key, form, keepRoundId) => change("drafts", key, (there) => {
  const goesOn = there && (there.begun_at || Date.now() - there.made_at < DAY);
  const draft = goesOn ? there : { key, made_at: Date.now(), begun_at: null, values: {}, lines: {}, ids: {} };
  const ids = { ...draft.ids };
  for (const [name, given] of Object.entries(idsOf(form))) {
    ids[name] ??= keepRoundId && name === "walk-round_id" ? given : uuid7();
  }
  return { ...draft, ids };
});

const setField = (field, place, values) => {
  if (field.type === "checkbox" || field.type === "radio") field.checked = values.includes(field.value);
  else field.value = values[place] ?? "";
};

const setValues = (form, values) => {
  for (const [name, list] of Object.entries(values)) {
    named(form, name).forEach((field, place) => setField(field, place, list));
  }
};

// Whatever reckons with what is typed hears of it.
const announce = (form, values) => {
  for (const name of Object.keys(values)) {
    for (const field of named(form, name)) field.dispatchEvent(new Event("input", { bubbles: true }));
  }
};

const addHidden = (form, name, value) => {
  const field = Object.assign(document.createElement("input"), { type: "hidden", name, value });
  form.append(field);
};

// Stations that were typed and aren't on this page any more (a card taken down meanwhile): what was typed is sent all
// the same, and the server says what it thinks of it.
const addLines = (form, draft) => {
  const here = new Set(named(form, "line").map((field) => prefixOf(field.value)));
  for (const [prefix, { line, whole }] of Object.entries(draft.lines)) {
    if (here.has(prefix)) continue;
    addHidden(form, "line", line);
    for (const [name, list] of Object.entries(whole)) for (const value of list) addHidden(form, name, value);
    for (const [name, id] of Object.entries(draft.ids)) if (name.startsWith(`${prefix}-`)) addHidden(form, name, id);
  }
};

export const putBack = (form, draft) => {
  for (const [name, id] of Object.entries(draft.ids)) for (const field of named(form, name)) field.value = id;
  addLines(form, draft);
  setValues(form, draft.values);
  announce(form, draft.values);
};

// Of each station of which something changed, all that stands there.
const linesOf = (form, whole, changed) => {
  const lines = {};
  for (const { value: line } of named(form, "line")) {
    const prefix = prefixOf(line);
    const own = (name) => name.startsWith(`${prefix}-`);
    if (!Object.keys(changed).some(own)) continue;
    lines[prefix] = { line, whole: Object.fromEntries([...whole].filter(([name]) => own(name))) };
  }
  return lines;
};

const same = (one, other) => one?.length === other.length && one.every((value, place) => value === other[place]);

// Writes what changed since the last time, one write after the other; `failed` is told where the store takes no more.
// `early` names what was typed before this could see it.
export const keeper = (key, form, failed, early = []) => {
  let last = standing(form);
  let touched = false;
  let hasFailed = false;
  let writing = Promise.resolve();
  const written = (there, changed, lines) => {
    const now = Date.now();
    const draft = there ?? { key, made_at: now, ids: idsOf(form), values: {}, lines: {} };
    const values = { ...draft.values, ...changed };
    return { ...draft, values, lines: { ...draft.lines, ...lines }, begun_at: draft.begun_at ?? now, saved_at: now };
  };
  const changedIn = (whole) => Object.fromEntries([...whole].filter(([name, values]) => !same(last.get(name), values)));
  const save = (anyway = false) => {
    const whole = standing(form);
    const changed = changedIn(whole);
    last = whole;
    if (!anyway && !Object.keys(changed).length) return writing;
    touched = true;
    const lines = linesOf(form, whole, changed);
    writing = writing.then(() => change("drafts", key, (there) => written(there, changed, lines))).then(
      () => tell("typed", { key, values: changed, from: TAB }), () => { hasFailed = true; failed(); });
    return writing;
  };
  // What another tab typed into the same round.
  const take = (values) => {
    setValues(form, values);
    last = standing(form);
    announce(form, values);
  };
  const isTyped = () => touched || early.length > 0 || Object.keys(changedIn(standing(form))).length > 0;
  // Before this page gives way to a newer one. Fails where the store takes no more.
  const saveAll = async () => {
    await save();
    if (hasFailed) throw new Error("The store takes no more.");
    if (!early.length) return;
    const whole = standing(form);
    const values = Object.fromEntries(early.map((name) => [name, whole.get(name)]));
    await change("drafts", key, (there) => written(there, values, linesOf(form, whole, values)));
  };
  return { save, take, isTyped, saveAll };
};
