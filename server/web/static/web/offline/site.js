// On every page: sends what waits, says so above the page, and keeps the pages of the round for the barn.
import { sayAge } from "./age.js";
import { OFFLINE_PAGE, WAITING_PAGE, keepPage, pagesOf, tidyShelf, wipePages } from "./keep.js";
import { LONG, listen, whatWaits } from "./queue.js";
import { askSession, flush } from "./send.js";
import { note, noted } from "./store.js";
import { counted, daysSince, filled } from "./words.js";

const SECOND = 1000;
const FRESH = 30 * 60 * SECOND;
const PATIENCE = 5 * SECOND;
const root = document.documentElement;
const { holder, keptAt } = root.dataset;
const fromNetwork = !keptAt;

// --- What waits, above every page ---------------------------------------------------------------------------------
const reason = (say, { rounds, photos }) => {
  const has = (state) => [...rounds, ...photos].some((item) => item.state === state);
  const oldest = Math.min(...[...rounds, ...photos].map((item) => item.submitted_at ?? Date.parse(item.taken_at)));
  if (daysSince(oldest) >= LONG) return filled(say.old, { n: daysSince(oldest) });
  if (has("refused")) return say.refused;
  // Also a phone that was switched off, whose pages still carry a holder.
  if (has("signed_out")) return say.signedOut;
  return "";
};

const show = async () => {
  const place = document.getElementById("waits");
  const found = await whatWaits();
  const { rounds, photos } = found;
  const some = rounds.length + photos.length > 0;
  place.hidden = !some;
  if (!some) return;
  const say = place.dataset;
  const parts = [];
  if (rounds.length) parts.push(counted(rounds.length, say.one, say.many));
  if (photos.length) parts.push(counted(photos.length, say.onePhoto, say.manyPhotos));
  const why = reason(say, found);
  const [link, more] = [place.querySelector("a"), place.querySelector("span")];
  if (link.textContent !== parts.join(", ")) link.textContent = parts.join(", ");
  if (more.textContent !== why) more.textContent = why;
};

// --- Sending: at the start, with signal, when the page is seen again, and by a timer --------------------------------
let timer = 0;
let failures = 0;

// `unheard`: nobody answered when something was to go at once; then it isn't left to its own pause.
const planNext = async (unheard = false) => {
  window.clearTimeout(timer);
  const { rounds, photos } = await whatWaits();
  const open = [...rounds, ...photos].filter((item) => item.state !== "refused");
  if (!open.length) return;
  const next = unheard ? 0 : Math.min(...open.map((item) => item.next_at)) - Date.now();
  const pause = Math.min(5 * SECOND * 2 ** failures, 5 * 60 * SECOND);
  timer = window.setTimeout(() => send(unheard), Math.max(next, pause));
};

const send = async (urgent) => {
  try {
    const outcomes = await flush({ urgent });
    failures = [...outcomes.values()].some((outcome) => outcome.kind === "sent") ? 0 : Math.min(failures + 1, 6);
    await show();
    await planNext(urgent && Boolean(outcomes.unheard));
  } catch {
    // No store in this browser (a private window): nothing can wait here.
  }
};

// --- Whose phone it is, and the pages it keeps ------------------------------------------------------------------------
const settle = async () => {
  // The one that was chosen last.
  if (fromNetwork && (await noted("language")) !== root.lang) await note("language", root.lang);
  if (!fromNetwork || !holder || (await noted("holder")) === holder) return;
  await note("holder", holder);
  await note("kept", null);
  // Another person's pages go as soon as somebody else signs in.
  await wipePages(pagesOf(holder));
};

const farmHere = () => /^\/farms\/[0-9a-f-]{36}\//.exec(location.pathname)?.[0];

const pagesToKeep = async () => {
  const session = await askSession();
  if (!session?.holder) return [];
  const here = farmHere();
  return session.farms.filter((farm) => farm.keep || (here && farm.count.startsWith(here))).map((farm) => farm.count);
};

// What was kept of late isn't asked for again, but in another language or after a round was stored.
const keepRounds = async () => {
  const kept = (await noted("kept")) ?? { at: 0 };
  const here = farmHere();
  const known = kept.holder === holder && kept.language === root.lang && Date.now() - kept.at < FRESH;
  if (known && (!here || kept.farms.some((address) => address.startsWith(here)))) return;
  const addresses = await pagesToKeep();
  for (const address of [OFFLINE_PAGE, WAITING_PAGE, ...addresses]) await keepPage(address);
  await note("kept", { at: Date.now(), holder, language: root.lang, farms: addresses });
  await tidyShelf();
};

const atRest = (work) => ("requestIdleCallback" in window ? requestIdleCallback(work) : setTimeout(work, SECOND));

const keep = async () => {
  if (!fromNetwork || !holder || !("serviceWorker" in navigator)) return;
  try {
    await navigator.serviceWorker.register("/worker.js", { updateViaCache: "none" });
    await keepRounds();
  } catch {
    // Signal went, or this browser keeps nothing: what was kept before stays.
  }
};

// Background Sync, where there is one: the worker sends though no page is open.
const askForSync = async () => {
  try {
    await (await navigator.serviceWorker?.ready)?.sync?.register("rounds");
  } catch {
    // Not there, or not allowed: any page sends.
  }
};

const start = async () => {
  await settle();
  await show();
  await send(true);
  atRest(keep);
};

listen(async ({ what, round }) => {
  await show();
  if (what === "added") await Promise.all([askForSync(), planNext()]);
  if (what === "sent" && round) await note("kept", null);
});
window.addEventListener("online", () => send(true));
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") send(true); });
// A page that the browser shows again from its memory.
window.addEventListener("pageshow", (event) => { if (event.persisted) send(true); });

// A page from the cache says from when it is; one that was shown at once, where it knows no more by then (fresh.js).
const isAsked = () => "asked" in root.dataset;
if (isAsked()) setTimeout(() => { if (isAsked()) sayAge("say"); }, PATIENCE);
else if (keptAt) sayAge("say");
start().catch(() => {});
