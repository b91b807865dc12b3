// Pages kept on the phone, each under the person whom the page itself names: never shown to another.
import { note, noted } from "./store.js";

const SHELF = "static";
const SHELL = "shell";
const MOST_ON_SHELF = 400;
export const OFFLINE_PAGE = "/without-signal/";
export const WAITING_PAGE = "/waiting/";
export const ROUND_PAGE = /^\/farms\/[0-9a-f-]{36}\/count\/$/;

export const pagesOf = (holder) => `pages-${holder || "nobody"}`;
const holderIn = (text) => /<html[^>]*\sdata-holder="([^"]*)"/.exec(text)?.[1] ?? "";
export const isKept = (path) => path === WAITING_PAGE || ROUND_PAGE.test(path);

// What a tag opens without signal: the round of its farm, at its station. Its address has the bytes of both ids as
// base64url (RFC 4648, section 5).
const TAG = /^\/at\/([\w-]{22})\/([\w-]{22})\/$/;
const idFrom = (letters) => {
  const bytes = [...atob(letters.replaceAll("-", "+").replaceAll("_", "/"))];
  const hex = bytes.map((byte) => byte.charCodeAt(0).toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
};
export const roundOfTag = (path) => {
  const [, farm, station] = TAG.exec(path) ?? [];
  return farm ? { page: `/farms/${idFrom(farm)}/count/`, anchor: `#at-${idFrom(station)}` } : null;
};

// A page as it came, with the moment at which it was asked for. Its policy stays with it; how it was packed doesn't.
const dated = (answer, text, asked) => {
  const headers = new Headers(answer.headers);
  for (const name of ["Content-Encoding", "Content-Length", "Set-Cookie"]) headers.delete(name);
  headers.set("Kept-At", new Date(asked).toISOString());
  return new Response(text, { status: answer.status, headers });
};

export const keepAnswer = async (path, answer, asked) => {
  const page = answer.ok && !answer.redirected && (answer.headers.get("Content-Type") ?? "").startsWith("text/html");
  if (!page) return;
  const text = await answer.text();
  const shelf = path === OFFLINE_PAGE ? SHELL : pagesOf(holderIn(text));
  await (await caches.open(shelf)).put(path, dated(answer, text, asked));
  await keepParts(text, "html", new URL(path, location.origin));
};

export const keepPage = async (path) => {
  const asked = Date.now();
  await keepAnswer(path, await fetch(path, { cache: "no-store" }), asked);
};

const PARTS_IN = {
  html: /\s(?:src|href)="([^"]+)"/g,
  css: /url\(["']?([^"')]+)["']?\)/g,
  js: /(?:\bfrom|\bimport)\s*\(?\s*["'](\.{0,2}\/[^"']+\.js)["']/g,
};
const kindOf = (path) => /\.(css|js)$/.exec(path)?.[1];
// Named by its content, as collectstatic does: what is on the shelf is right for ever.
export const isLasting = (path) => /\.[0-9a-f]{12}\.\w+$/.test(path);

// Styles, letters and scripts that a page needs, and what those need.
const keepParts = async (text, kind, base, seen = new Set()) => {
  const shelf = await caches.open(SHELF);
  for (const [, found] of text.matchAll(PARTS_IN[kind])) {
    const address = new URL(found, base);
    const wanted = address.origin === location.origin && address.pathname.startsWith(staticRoot());
    if (!wanted || seen.has(address.pathname)) continue;
    seen.add(address.pathname);
    const answer = (isLasting(address.pathname) && (await shelf.match(address))) || (await fetch(address));
    if (!answer.ok) continue;
    await shelf.put(address, answer.clone());
    const inner = kindOf(address.pathname);
    if (inner) await keepParts(await answer.text(), inner, address, seen);
  }
};

const staticRoot = () => self.STATIC ?? document.documentElement.dataset.static;

// Scripts and styles of past versions go when there are too many; the oldest lie first.
export const tidyShelf = async () => {
  const shelf = await caches.open(SHELF);
  const there = await shelf.keys();
  await Promise.all(there.slice(0, Math.max(0, there.length - MOST_ON_SHELF)).map((each) => shelf.delete(each)));
};

// The kept page of whoever was here last, or of nobody, as it came.
export const keptAnswer = async (path) => {
  const shelf = path === OFFLINE_PAGE ? SHELL : pagesOf(await noted("holder"));
  return (await caches.open(shelf)).match(path);
};

// As it is shown: it says itself from when it is.
export const marked = async (found, more = "") => {
  const text = (await found.text()).replace("<html ", `<html data-kept-at="${found.headers.get("Kept-At")}" ${more}`);
  return new Response(text, { status: found.status, headers: found.headers });
};

export const keptPage = async (path) => {
  const found = await keptAnswer(path);
  return found ? marked(found) : null;
};

// On signing out: no page of anybody's stays. What waits and what was typed does.
export const wipePages = async (but = "") => {
  const names = (await caches.keys()).filter((name) => name.startsWith("pages-") && name !== but);
  await Promise.all(names.map((name) => caches.delete(name)));
};

export const forgetHolder = async () => {
  await note("holder", "");
  await note("kept", null);
  await wipePages();
};
