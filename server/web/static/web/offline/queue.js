// What waits to be sent: rounds, and their photos. Nothing leaves the queue but what the server says it has stored,
// and what an owner or an adviser deletes.
import { change, changedNow, readAll, within } from "./store.js";

// States: waiting; refused (the server said why, somebody has to mend it); signed_out (nobody is signed in here);
// not_yours (who is signed in may not count for that farm).
const LINE = "flyround";
export const LONG = 3;

// Tell every page of the site that is open here; `what` is added, or sent with where its end is.
export const tell = (what, more = {}) => {
  if (!("BroadcastChannel" in self)) return;
  const line = new BroadcastChannel(LINE);
  line.postMessage({ what, ...more });
  line.close();
};

export const listen = (heard) => {
  if (!("BroadcastChannel" in self)) return;
  new BroadcastChannel(LINE).addEventListener("message", (event) => heard(event.data));
};

// A finished round goes into the queue, and its draft away, in one transaction: it is always in one of both.
export const queueRound = async (round, draftKey) => {
  await within(["rounds", "drafts", "notes"], "readwrite", async (ask) => {
    await ask("rounds", "put", { ...round, state: "waiting", tries: 0, next_at: 0 });
    if (draftKey) await ask("drafts", "delete", draftKey);
    await ask("notes", "put", changedNow());
  });
  tell("added", { round: round.id });
};

// The server has it: out of the queue, and its photos may follow. What was added to the round while it was on its way
// stays and goes after it, under the same id.
export const roundIsSent = async ({ id, submitted_at: sent }, end) => {
  await within(["rounds", "photos", "notes"], "readwrite", async (ask) => {
    await ask("notes", "put", changedNow());
    const there = await ask("rounds", "get", id);
    if (there?.submitted_at === sent) await ask("rounds", "delete", id);
    for (const photo of await ask("photos", "getAll")) {
      if (photo.round === id) await ask("photos", "put", { ...photo, state: "waiting", may_go: true });
    }
  });
  tell("sent", { round: id, end, submitted_at: sent });
};

export const mark = (store, id, values) => change(store, id, (there) => there && { ...there, ...values });

// A photo waits once its round does or has been stored; before that it belongs to what is still being typed.
const waits = (photo, rounds) => photo.may_go || rounds.some((round) => round.id === photo.round);

export const whatWaits = async () => {
  const [rounds, photos] = await Promise.all([readAll("rounds"), readAll("photos")]);
  rounds.sort((one, other) => one.submitted_at - other.submitted_at);
  return { rounds, photos: photos.filter((photo) => waits(photo, rounds)) };
};

export const deleteRound = (id) => within(["rounds", "photos"], "readwrite", async (ask) => {
  await ask("rounds", "delete", id);
  for (const photo of await ask("photos", "getAll")) if (photo.round === id) await ask("photos", "delete", photo.id);
});
