// The worker's part of a round's page that was kept today: it is shown at once, and asks for the fresh one itself
// (fresh.js). Not where anything was sent from this phone since, and not where the reader loads it again.
import { ROUND_PAGE, keptAnswer, marked } from "./keep.js";
import { note, noted } from "./store.js";
import { dayIn } from "./words.js";

const wordIn = (text, pattern) => pattern.exec(text)?.[1];

// In the language chosen last, and of this day by the farm's clock as far as this phone was ever told it.
const isCurrent = async (text, keptAt) => {
  const [changed = 0, ahead = 0, language] = await Promise.all(["changed", "ahead", "language"].map(noted));
  const now = Date.now();
  if (!(keptAt > changed && keptAt <= now) || wordIn(text, /<html[^>]*\slang="([^"]*)"/) !== language) return false;
  const zone = wordIn(text, /\sdata-zone="([^"]+)"/);
  return Boolean(zone) && dayIn(zone, keptAt - ahead) === dayIn(zone, now - ahead);
};

// What the page just fetched and kept is shown in its place as it came, once.
const isNewer = async (path, keptAt) => {
  const newer = await noted("newer");
  if (newer?.path !== path) return false;
  await note("newer", null);
  return newer.asked === keptAt;
};

export const shownAtOnce = async ({ url, cache }, path) => {
  if (!ROUND_PAGE.test(path) || new URL(url).search) return null;
  const found = await keptAnswer(path);
  if (!found) return null;
  const keptAt = Date.parse(found.headers.get("Kept-At"));
  if (await isNewer(path, keptAt)) return found;
  const isOpened = cache === "default" || cache === "force-cache";
  return isOpened && (await isCurrent(await found.clone().text(), keptAt)) ? marked(found, 'data-asked="" ') : null;
};
