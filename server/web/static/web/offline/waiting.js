// The page of what waits: one's own rounds in full, other people's by their initials and number only.
import { loadFile, saveAsFile } from "./file.js";
import { deleteRound, listen, mark, tell, whatWaits } from "./queue.js";
import { askSession, flush } from "./send.js";
import { erase, noted } from "./store.js";
import { counted, filled, whenText } from "./words.js";

const page = document.querySelector("[data-waiting]");
const say = page.dataset;
const language = document.documentElement.lang;
const holder = document.documentElement.dataset.holder ?? "";
const copy = (name) => document.getElementById(name).content.firstElementChild.cloneNode(true);
const put = (item, name, text) => {
  const place = item.querySelector(`[data-${name}]`);
  place.textContent = text;
  place.hidden = !text;
};

// Rights as the server last told them to whoever is signed in now: without signal they are these.
const rightsOn = async () => {
  const session = await noted("session");
  const farms = holder && session?.holder === holder ? session.farms : [];
  return { mayDelete: new Set(farms.filter((farm) => farm.may_delete).map((farm) => farm.id)), switchedOff: session?.switched_off };
};

const stateText = (item, rights) => {
  if (item.state === "refused") return say.refused;
  if (!holder || item.state === "signed_out") return rights.switchedOff ? say.switchedOff : say.signedOut;
  if (item.state === "not_yours") return say.notYours;
  return navigator.onLine ? say.soon : say.noSignal;
};

const reasons = (item) => {
  const { detail = "", errors = [] } = item.refused ?? {};
  const lines = errors.map((error) => (error.station ? `${error.station}: ${error.detail}` : error.detail));
  return lines.length ? lines : [detail].filter((text) => text);
};

// As a form of the page that refused it: the server shows everything typed, with the reason beside each field.
const mend = async (round) => {
  const session = await askSession();
  if (!session) return window.alert(say.noSignal);
  // The page anew says that somebody has to sign in.
  if (!session.holder) return location.reload();
  await mark("rounds", round.id, { state: "waiting", next_at: 0 });
  const form = Object.assign(document.createElement("form"), { method: "post", action: `/farms/${round.farm}/count/`, hidden: true });
  const now = new Date().toISOString();
  const fields = round.fields.filter(([name]) => name !== "walk-sent_at");
  for (const [name, value] of [...fields, ["walk-sent_at", now], ["csrfmiddlewaretoken", session.token]]) {
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
  }
  document.body.append(form);
  return HTMLFormElement.prototype.submit.call(form);
};

const tryNow = async (store, item) => {
  await mark(store, item.id, { state: "waiting", next_at: 0, told_to_wait: false });
  await flush({ urgent: true });
  await draw();
};

const press = (item, name, work) => item.querySelector(`[data-${name}]`).addEventListener("click", work);

const ownRound = (round, photos, rights) => {
  const item = copy("waiting-round");
  const its = photos.filter((photo) => photo.round === round.id);
  item.dataset.round = round.id;
  put(item, "farm", round.farm_name);
  const who = round.initials ? filled(say.by, { who: round.initials }) : "";
  const much = [counted(round.stations ?? 0, say.oneStation, say.manyStations), its.length && counted(its.length, say.onePhoto, say.manyPhotos)];
  put(item, "about", [filled(say.since, { when: whenText(round.submitted_at, language) }), who, ...much].filter((text) => text).join(" · "));
  put(item, "state", stateText(round, rights));
  const list = item.querySelector("[data-reasons]");
  list.replaceChildren(...reasons(round).map((text) => Object.assign(document.createElement("li"), { textContent: text })));
  list.hidden = !list.children.length;
  item.querySelector("[data-mend]").hidden = round.state !== "refused";
  item.querySelector("[data-try]").hidden = round.state === "refused";
  item.querySelector("[data-delete]").hidden = !rights.mayDelete.has(round.farm);
  press(item, "mend", () => mend(round));
  press(item, "try", () => tryNow("rounds", round));
  press(item, "file", () => saveAsFile({ rounds: [round], photos: its }));
  press(item, "delete", () => remove(filled(say.sureDelete, { farm: round.farm_name }), () => deleteRound(round.id)));
  return item;
};

const remove = async (question, work) => {
  if (!window.confirm(question)) return;
  await work();
  tell("deleted");
  await draw();
};

// Photos whose round is stored already.
const ownPhoto = (photo, rights) => {
  const item = copy("waiting-photo");
  put(item, "about", filled(say.photoSince, { when: whenText(photo.taken_at, language) }));
  put(item, "state", [stateText(photo, rights), ...reasons(photo)].join(" "));
  press(item, "try", () => tryNow("photos", photo));
  press(item, "delete", () => remove(say.sureDeletePhoto, () => erase("photos", photo.id)));
  return item;
};

// Of others only their initials and how many; who may delete on that farm may, one by one and after a question.
const others = (rounds, rights) => rounds.map((round) => {
  const item = copy("waiting-other");
  item.dataset.round = round.id;
  put(item, "who", filled(say.otherOne, { who: round.initials || "?" }));
  const button = item.querySelector("[data-delete]");
  button.hidden = !rights.mayDelete.has(round.farm);
  button.addEventListener("click", () => remove(filled(say.sureDelete, { farm: round.farm_name }), () => deleteRound(round.id)));
  return item;
});

const hidden = (rounds, rights) => {
  const closed = rounds.filter((round) => !rights.mayDelete.has(round.farm));
  const numbers = new Map();
  for (const { initials } of closed) numbers.set(initials || "?", (numbers.get(initials || "?") ?? 0) + 1);
  const lines = [...numbers].map(([who, n]) => {
    const item = copy("waiting-other");
    put(item, "who", counted(n, filled(say.otherOne, { who }), filled(say.otherMany, { who })));
    item.querySelector("[data-delete]").hidden = true;
    return item;
  });
  return [...lines, ...others(rounds.filter((round) => rights.mayDelete.has(round.farm)), rights)];
};

const draw = async () => {
  const { rounds, photos } = await whatWaits();
  const rights = await rightsOn();
  const mine = (item) => holder && item.holder === holder;
  const alone = photos.filter((photo) => mine(photo) && !rounds.some((round) => round.id === photo.round));
  const own = rounds.filter(mine).map((round) => ownRound(round, photos, rights));
  page.querySelector("[data-own]").replaceChildren(...own, ...alone.map((photo) => ownPhoto(photo, rights)));
  const rest = hidden(rounds.filter((round) => !mine(round)), rights);
  page.querySelector("[data-others]").replaceChildren(...rest);
  page.querySelector("[data-others-head]").hidden = !rest.length;
  page.querySelector("[data-none]").hidden = rounds.length + photos.length > 0;
  page.querySelector("[data-sign-in]").hidden = Boolean(holder) || rounds.length + photos.length === 0;
  page.querySelector("[data-all]").hidden = !own.length;
  page.dataset.waiting = String(rounds.length);
};

page.querySelector("[data-all]").addEventListener("click", async () => {
  const { rounds, photos } = await whatWaits();
  const mine = (item) => item.holder === holder;
  saveAsFile({ rounds: rounds.filter(mine), photos: photos.filter(mine) });
});

page.querySelector("[data-load]").addEventListener("change", async (event) => {
  const said = page.querySelector("[data-loaded]");
  try {
    const number = await loadFile(await event.target.files[0].text());
    said.textContent = counted(number, say.loadedOne, say.loadedMany);
  } catch {
    said.textContent = say.notLoaded;
  }
  said.hidden = false;
  event.target.value = "";
  await flush({ urgent: true });
  await draw();
});

listen(draw);
for (const name of ["online", "offline"]) window.addEventListener(name, draw);
await askSession();
await draw();
