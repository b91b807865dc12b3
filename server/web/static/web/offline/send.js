// Sending what waits: one at a time, by one tab or the worker only, again and again until the server has it.
import { mark, roundIsSent, tell, whatWaits } from "./queue.js";
import { change, erase, note } from "./store.js";

const SESSION = "/waiting/session/";
const LOCK = "flyround-send";
const SECOND = 1000;
const PATIENCE = 45 * SECOND;
const LEASE = 60 * SECOND;
const LONGEST_PAUSE = 15 * 60 * SECOND;

// Who is signed in, with a fresh token for the form; null without signal (also where a sign-in page of some other
// network answers in the server's place).
export const askSession = async () => {
  try {
    const answer = await fetch(SESSION, { cache: "no-store", redirect: "error", signal: AbortSignal.timeout(15 * SECOND) });
    if (!answer.ok) return null;
    const session = await answer.json();
    await note("session", { holder: session.holder, switched_off: session.switched_off, farms: session.farms });
    await note("ahead", Date.now() - Date.parse(session.now));
    return session;
  } catch {
    return null;
  }
};

// What an answer means. Whatever isn't understood is tried again later: only the server's word ends a round.
const meaning = async (answer) => {
  const { status } = answer;
  if (status === 200 || status === 201) return { kind: "sent", ...(await answer.json()) };
  if (answer.type === "opaqueredirect" || status === 401) return { kind: "signed_out" };
  if (status === 403 || status === 404) return { kind: "not_yours" };
  if ([400, 409, 413, 415, 422].includes(status)) return { kind: "refused", why: await reasonOf(answer) };
  return { kind: "later", wait: waitOf(answer) };
};

const reasonOf = async (answer) => {
  try {
    const { detail = "", errors = [] } = await answer.json();
    return { detail, errors };
  } catch {
    return { detail: "", errors: [] };
  }
};

// Retry-After in seconds or as a date (RFC 9110, section 10.2.3), in milliseconds; 0 where it isn't said.
const waitOf = (answer) => {
  const told = answer.headers.get("Retry-After") ?? "";
  const wait = /^\d+$/.test(told) ? Number(told) * SECOND : Date.parse(told) - Date.now();
  return Math.max(0, Math.min(wait || 0, 24 * 3600 * SECOND));
};

const post = async (address, body, session) => {
  const headers = { Accept: "application/json", "X-CSRFToken": session.token };
  try {
    const how = { method: "POST", body, headers, redirect: "manual", signal: AbortSignal.timeout(PATIENCE) };
    return await meaning(await fetch(address, how));
  } catch {
    return { kind: "no_signal" };
  }
};

const sendRound = (round, session) => {
  const body = new URLSearchParams(round.fields);
  // How far this phone's clock is from the server's is measured as the round leaves.
  body.set("walk-sent_at", new Date().toISOString());
  return post(`/farms/${round.farm}/count/`, body, session);
};

const sendPhoto = (photo, session) => {
  const body = new FormData();
  for (const [name, value] of [["id", photo.id], ["kind", photo.kind], ["taken_at", photo.taken_at]]) body.set(name, value);
  if (photo.station) body.set("station_id", photo.station);
  body.set("sent_at", new Date().toISOString());
  body.set("file", new Blob([photo.bytes], { type: photo.type }), "photo.jpg");
  return post(`/farms/${photo.farm}/rounds/${photo.round}/photos/`, body, session);
};

const paused = (item, outcome) => {
  const tries = (item.tries ?? 0) + 1;
  const pause = Math.min(15 * SECOND * 2 ** Math.min(tries, 10), LONGEST_PAUSE);
  return { tries, next_at: Date.now() + Math.max(outcome.wait ?? 0, pause), told_to_wait: Boolean(outcome.wait) };
};

const keep = (store, item, outcome) => {
  const state = outcome.kind === "later" ? "waiting" : outcome.kind;
  const refused = outcome.kind === "refused" ? outcome.why : null;
  return mark(store, item.id, { state, refused, ...paused(item, outcome) });
};

// Where nobody may send it, the server isn't asked for it.
const judge = async (item, session, send) => {
  if (!session.holder) return { kind: "signed_out" };
  if (!session.farms.some((farm) => farm.id === item.farm)) return { kind: "not_yours" };
  return send(item, session);
};

const due = (item, urgent) =>
  item.state !== "refused" && (item.next_at <= Date.now() || (urgent && !item.told_to_wait));

const sendAll = async (urgent) => {
  const outcomes = new Map();
  const found = await whatWaits();
  const rounds = found.rounds.filter((round) => due(round, urgent));
  if (!rounds.length && !found.photos.some((photo) => due(photo, urgent))) return outcomes;
  const session = await askSession();
  if (!session) return Object.assign(outcomes, { unheard: true });
  for (const round of rounds) {
    const outcome = await judge(round, session, sendRound);
    outcomes.set(round.id, outcome);
    if (outcome.kind === "no_signal") return Object.assign(outcomes, { unheard: true });
    await (outcome.kind === "sent" ? roundIsSent(round, outcome.end) : keep("rounds", round, outcome));
  }
  await sendPhotos(session, urgent);
  return outcomes;
};

const sendPhotos = async (session, urgent) => {
  for (const photo of (await whatWaits()).photos) {
    if (!photo.may_go || !due(photo, urgent)) continue;
    const outcome = await judge(photo, session, sendPhoto);
    if (outcome.kind === "no_signal") return;
    await (outcome.kind === "sent" ? erase("photos", photo.id) : keep("photos", photo, outcome));
  }
};

// One at a time over all tabs and the worker. A browser without Web Locks gets a lease in the store: the server stores
// a round once however often it comes, so a lease that runs out early costs only a request.
const alone = async (work) => {
  if (navigator.locks) return navigator.locks.request(LOCK, work);
  const mine = crypto.getRandomValues(new Uint32Array(2)).join();
  for (;;) {
    const lease = await change("notes", "lease", (there) =>
      there && there.until > Date.now() ? undefined : { name: "lease", mine, until: Date.now() + LEASE });
    if (lease?.mine === mine) break;
    await new Promise((wake) => { setTimeout(wake, 500); });
  }
  try {
    return await work();
  } finally {
    await erase("notes", "lease");
  }
};

// Send what is due; `urgent` tries also what paused, but for what the server told to wait. What became of each round,
// by its id; a round without signal isn't in it. `unheard` says that nobody answered.
export const flush = async ({ urgent = false } = {}) => {
  const outcomes = await alone(() => sendAll(urgent));
  if (outcomes.size) tell("tried");
  return outcomes;
};
