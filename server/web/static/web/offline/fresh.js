// On a round's page that the worker showed at once (at-once.js): asks for the fresh one, keeps it, and shows what is
// new in it. What was typed stays: where something was, the reader says when the newer page is opened.
import { sayAge, takeAgeBack } from "./age.js";
import { keepAnswer, keptAnswer } from "./keep.js";
import { pageOf, showKeptOut, whatMatters } from "./newer.js";
import { askSession } from "./send.js";
import { note, noteChange } from "./store.js";

const LONGEST = 60_000;
const root = document.documentElement;
const path = location.pathname;
const asked = Date.now();

const fetched = () =>
  fetch(path, { cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(LONGEST) }).catch(() => null);

// The page that is shown, as it lies on the phone; null where another tab has kept a newer one since.
const shownText = async () => {
  const found = await keptAnswer(path);
  return found?.headers.get("Kept-At") === root.dataset.keptAt ? found.text() : null;
};

// Nothing typed is lost: it is written first, and nothing more can be typed meanwhile.
const leave = async ({ started, isFull, isGone }, prepare) => {
  const main = document.getElementById("main");
  main.inert = true;
  try {
    const draft = await started;
    // A round that was sent goes its own way.
    if (isGone()) {
      main.inert = false;
      return;
    }
    await draft.saveAll();
    await prepare();
    location.reload();
  } catch {
    main.inert = false;
    isFull();
  }
};

const openKept = (round) => leave(round, () => note("newer", { path, asked }));
// The server's own answer is shown, whatever it is.
const openAnew = (round) => leave(round, noteChange);

const offer = (round) => {
  const { newer } = round;
  newer.querySelector("button").addEventListener("click", () => openKept(round));
  newer.hidden = false;
};

// As when a round is sent: without a session one counts on, and signs in to send.
const isTurnedAway = async (round) => {
  const session = await askSession();
  if (!session) return sayAge("say");
  return session.holder ? openAnew(round) : sayAge("signedOut");
};

const isThere = async (answer, round) => {
  const [before, text] = [await shownText(), await answer.clone().text()];
  const page = pageOf(text);
  if (page.documentElement.dataset.holder !== root.dataset.holder) return openAnew(round);
  showKeptOut(page);
  takeAgeBack();
  await keepAnswer(path, answer, asked).catch(() => {});
  if (before !== null && whatMatters(pageOf(before)) === whatMatters(page)) return null;
  const draft = await round.started;
  if (round.isGone()) return null;
  return draft.isTyped() ? offer(round) : openKept(round);
};

// `round`: its draft once it is there (`started`), whether it is on its way (`isGone`), the place of the line about a
// newer page (`newer`), and what says that the phone is full (`isFull`).
export const askFresh = async (round) => {
  const answer = await fetched();
  if (!answer) return sayAge("say");
  if (answer.ok) return isThere(answer, round);
  if (answer.type === "opaqueredirect" || answer.status === 401) return isTurnedAway(round);
  return [403, 404, 410].includes(answer.status) ? openAnew(round) : sayAge("unheard");
};
