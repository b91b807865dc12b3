// The round's page: drafts while it is typed, the queue when it is sent. Without this script the form works as it is.
import { TAB, keeper, openDraft, putBack, roundIdOf, typedEarly } from "./draft.js";
import { addPhotos } from "./photos.js";
import { listen, mark, queueRound, whatWaits } from "./queue.js";
import { askSession, flush } from "./send.js";
import { change, erase, noted } from "./store.js";
import { dayIn, filled, initialsOf, whenText } from "./words.js";

const PATIENCE = 8000;
const form = document.querySelector("form[data-round]");
const say = form.querySelector("[data-offline-round]").dataset;
const { holder = "", keptAt } = document.documentElement.dataset;
// A page with what the server refused: its ids are those of a round in the queue. One that goes on with a stored round
// keeps that round's id, and its day.
const isRefused = "refused" in say;
const goesOn = "goesOn" in say;
const draftKey = `${holder}/${say.farm}${goesOn ? `/${roundIdOf(form)}` : ""}`;
const field = (name) => form.elements[`walk-${name}`];
const tellForm = (name, detail) =>
  form.dispatchEvent(new CustomEvent(`round:${name}`, { bubbles: true, cancelable: true, detail }));
const part = (name) => form.querySelector(`[data-${name}]`);
const reveal = (name, text) => {
  const place = part(name);
  place.hidden = false;
  if (text) place.querySelector("p").textContent = text;
};
let begunAt = null;
let dayIsTyped = goesOn || isRefused;
let busy = false; // on its way into the queue, or out of it
let isPutBy = false; // this page has put the round into the queue,
let putAt = 0; // last at this time
let leaving = false;
let goesFurther = false;
let written = () => Promise.resolve();

// By the server's clock, as far as this phone was ever told it.
const dayOf = async (moment) => dayIn(say.zone, moment - ((await noted("ahead")) ?? 0));

const fieldsToSend = () =>
  [...new FormData(form)].filter(([name, value]) => typeof value === "string" && name !== "csrfmiddlewaretoken");

const whoCounted = () => {
  const chosen = form.querySelector('[name="walk-counted_by"]:checked');
  return chosen?.value ? initialsOf(chosen.labels?.[0]?.textContent ?? "") : say.initials;
};

const stationsTyped = (fields) =>
  new Set(fields.filter(([name, value]) => value && /-(count|animals|cups|reason)$/.test(name)).map(([name]) => name.replace(/-\w+$/, ""))).size;

const setClock = async () => {
  const now = new Date();
  if (isRefused && field("observed_at").value) return;
  field("observed_at").value = new Date(begunAt ?? now).toISOString();
  field("submitted_at").value = now.toISOString();
  field("by_clock").value = dayIsTyped ? "" : "1";
  if (!dayIsTyped) field("walked_on").value = await dayOf(begunAt ?? now.getTime());
};

const roundHere = () => {
  const fields = fieldsToSend();
  return {
    id: roundIdOf(form), farm: say.farm, farm_name: say.farmName, holder, initials: whoCounted(), fields,
    stations: stationsTyped(fields), begun_at: begunAt ?? Date.now(), submitted_at: Date.now(),
  };
};

// The page that the server makes of a refused round: everything typed, and the reason beside each field.
const mend = async () => {
  const session = await askSession();
  if (!session?.holder) return false;
  await mark("rounds", roundIdOf(form), { state: "waiting", next_at: 0 });
  form.elements.csrfmiddlewaretoken.value = session.token;
  field("sent_at").value = new Date().toISOString();
  leaving = true;
  HTMLFormElement.prototype.submit.call(form);
  return true;
};

// The form can be gone on with: what is added then goes under the same id, after what waits.
const waits = (why = "") => {
  busy = false;
  goesFurther = false;
  for (const happening of ["input", "round:goes-on"]) {
    form.addEventListener(happening, () => { goesFurther = true; }, { once: true });
  }
  if (!tellForm("waits", { round_id: roundIdOf(form), why })) return;
  const place = part("offline-round");
  for (const child of [...form.children, ...place.children]) child.hidden = child !== place;
  reveal("waits-end");
  part("waits-end").focus();
};

const arrived = (end) => {
  if (leaving) return;
  leaving = true;
  tellForm("sent", { round_id: roundIdOf(form), end });
  location.assign(end);
};

const finish = async (outcome) => {
  if (outcome?.kind === "sent") return arrived(outcome.end);
  if (outcome?.kind === "refused" && (await mend())) return null;
  return waits(outcome?.kind);
};

const send = async () => {
  // A write still on its way would bring the draft back after the round went into the queue.
  await written();
  await setClock();
  const round = roundHere();
  putAt = round.submitted_at;
  await queueRound(round, isRefused ? null : draftKey);
  const late = new Promise((give) => { setTimeout(() => give("late"), PATIENCE); });
  const sent = flush({ urgent: true }).then((outcomes) => outcomes.get(roundIdOf(form)));
  const first = await Promise.race([sent, late]);
  if (first !== "late") return finish(first);
  waits();
  return sent.then((outcome) => { if (outcome?.kind === "sent" && !goesFurther) arrived(outcome.end); });
};

// As the server says it: a card that hangs for the first time is something, and so is a note; a photo alone is not.
const isEmpty = (fields) => {
  const hung = [...form.querySelectorAll(".station")].some((place) =>
    place.querySelector('[name="line"]').value.split(".")[1] === "" && place.querySelector('[name$="-fresh"]')?.checked);
  const noted = fields.some(([name, value]) => name === "walk-note" && value.trim());
  return !stationsTyped(fields) && !hung && !noted;
};

form.addEventListener("submit", (event) => {
  event.preventDefault();
  if (busy) return;
  if (isEmpty(fieldsToSend())) {
    reveal("nothing");
    part("nothing").focus();
    return;
  }
  busy = isPutBy = true;
  part("newer").hidden = true;
  goesFurther = false;
  // Where this browser can't store it, the form goes as it would without scripts.
  send().catch(() => HTMLFormElement.prototype.submit.call(form));
});

// --- While it is typed ------------------------------------------------------------------------------------------------
const isFull = () => reveal("no-room");

const keepDraft = (early) => {
  const draft = keeper(draftKey, form, isFull, early);
  written = () => draft.save();
  const save = (event) => {
    if (busy) return;
    if (event?.target === field("walked_on")) dayIsTyped = true;
    begunAt ??= Date.now();
    draft.save();
    navigator.storage?.persist?.().catch(() => {});
  };
  form.addEventListener("input", save);
  form.addEventListener("change", save);
  // Buttons that fill in something: looked at when they have done it.
  form.addEventListener("click", () => setTimeout(() => { if (!busy) draft.save(); }));
  document.addEventListener("visibilitychange", () => { if (!busy) draft.save(); });
  return draft;
};

const begin = async () => {
  const opened = await openDraft(draftKey, form, goesOn);
  const early = typedEarly(form, opened);
  putBack(form, opened);
  begunAt = opened.begun_at;
  dayIsTyped ||= "walk-walked_on" in opened.values;
  if (!dayIsTyped && (keptAt || begunAt)) field("walked_on").value = await dayOf(begunAt ?? Date.now());
  if (begunAt) {
    reveal("restored", filled(say.sayRestored, { when: whenText(begunAt, document.documentElement.lang) }));
    tellForm("restored", { round_id: roundIdOf(form) });
  }
  // From here on what changes is typed.
  const draft = keepDraft(early);
  listen(({ what, key, values, from, round, end, submitted_at: sentAt }) => {
    // One's own words come back late, and would undo what was typed since.
    if (what === "typed" && key === draftKey && from !== TAB && !busy) draft.take(values);
    if (round !== roundIdOf(form)) return;
    // Sent by another tab, or by the worker.
    if (what === "sent" && sentAt === putAt && !goesFurther) arrived(end);
    // Another tab has given this round up for sending.
    if (what === "added" && !isPutBy) location.reload();
  });
  return draft;
};

// What is mended is written into the queue as it is typed.
const keepMending = () => {
  const save = () => change("rounds", roundIdOf(form), (there) => there && { ...there, fields: fieldsToSend() });
  form.addEventListener("input", () => save().catch(isFull));
  form.addEventListener("change", () => save().catch(isFull));
  // A day that was typed is no longer the clock's.
  field("walked_on").addEventListener("change", () => { field("by_clock").value = ""; });
};

part("begin-anew").addEventListener("click", async () => {
  if (!window.confirm(say.sureAnew)) return;
  busy = true;
  await erase("drafts", draftKey);
  location.reload();
});

const start = async () => {
  if (isRefused) keepMending();
  const draft = isRefused ? null : await begin();
  const about = { form, say, round: roundIdOf(form), farm: say.farm, holder };
  await addPhotos({ ...about, taken: () => { begunAt ??= Date.now(); draft?.save(true); } });
  const { rounds } = await whatWaits();
  const other = rounds.find((round) => round.farm === say.farm && round.holder === holder && round.id !== roundIdOf(form));
  if (other) reveal("one-waits");
  form.dataset.round = "ready";
  // What is typed is kept, so that leaving the page needs no question (round/steps.js).
  if (draft) form.dataset.kept = "";
  return draft;
};
const started = start();
started.catch(isFull);
if ("asked" in document.documentElement.dataset) {
  const { askFresh } = await import("./fresh.js");
  await askFresh({ started, isFull, isGone: () => busy || isPutBy || leaving, newer: part("newer") });
}
