// The service worker: pages of the round from the cache without signal, and sending when no page is open.
import { shownAtOnce } from "./at-once.js";
import { flush } from "./send.js";
import { OFFLINE_PAGE, forgetHolder, isKept, isLasting, keepAnswer, keepPage, keptPage, roundOfTag, tidyShelf } from "./keep.js";
import { noteChange } from "./store.js";

// A bar of signal that carries nothing is no signal.
const SLOW = 3000;
const LEAVING = ["/sign-in/out/", "/phone/leave/"];

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(keepPage(OFFLINE_PAGE).catch(() => {}));
});
self.addEventListener("activate", (event) => event.waitUntil(Promise.all([self.clients.claim(), tidyShelf()])));
// Where the browser has Background Sync. Elsewhere any page of the site sends when it is opened or seen again.
self.addEventListener("sync", (event) => event.waitUntil(flush({ urgent: true })));

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== location.origin) return;
  if (request.mode === "navigate") event.respondWith(pageFor(event, pathname));
  else if (request.method === "GET" && pathname.startsWith(self.STATIC)) event.respondWith(partFor(request, pathname));
});

// Whatever is sent may change what pages show, and in which language: noted as it goes, and when it is answered.
const sent = async (event, path) => {
  if (LEAVING.includes(path)) await forgetHolder();
  await noteChange().catch(() => {});
  const coming = fetch(event.request);
  event.waitUntil(coming.then(noteChange).catch(() => {}));
  return coming;
};

const pageFor = async (event, path) => {
  const { request } = event;
  const isRead = request.method === "GET";
  const today = isRead ? await shownAtOnce(request, path).catch(() => null) : null;
  if (today) return today;
  const asked = Date.now();
  const coming = isRead ? fetch(request) : sent(event, path);
  const kept = isRead && isKept(path) ? await keptPage(path).catch(() => null) : null;
  // A round that is gone on with (?round=) isn't the one that is begun here next.
  if (isRead && isKept(path) && !new URL(request.url).search) {
    const copied = coming.then((answer) => answer.clone());
    event.waitUntil(copied.then((copy) => keepAnswer(path, copy, asked)).catch(() => {}));
  }
  const late = kept && new Promise((show) => { setTimeout(() => show(kept), SLOW); });
  try {
    return await (late ? Promise.race([coming, late]) : coming);
  } catch {
    const tag = roundOfTag(path);
    if (tag && (await keptPage(tag.page))) return Response.redirect(tag.page + tag.anchor);
    return kept ?? (await keptPage(OFFLINE_PAGE)) ?? Response.error();
  }
};

const partFor = async (request, path) => {
  const kept = await caches.match(request, { cacheName: "static" });
  if (kept && isLasting(path)) return kept;
  try {
    return await fetch(request);
  } catch (error) {
    if (kept) return kept;
    throw error;
  }
};
