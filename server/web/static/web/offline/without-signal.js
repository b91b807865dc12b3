// The page shown in place of one that can't be reached: which rounds can be counted all the same.
import { ROUND_PAGE, pagesOf } from "./keep.js";
import { noted } from "./store.js";

const list = document.querySelector("[data-kept-rounds]");
const shelf = await caches.open(pagesOf(await noted("holder")));
for (const request of await shelf.keys()) {
  const { pathname } = new URL(request.url);
  if (!ROUND_PAGE.test(pathname)) continue;
  const page = new DOMParser().parseFromString(await (await shelf.match(request)).text(), "text/html");
  const farm = page.querySelector("[data-offline-round]")?.dataset.farmName;
  if (!farm) continue;
  const link = Object.assign(document.createElement("a"), { href: pathname, className: "button", textContent: list.dataset.say.replace("{farm}", farm) });
  list.append(link);
}
list.hidden = !list.children.length;
document.querySelector("[data-no-rounds]").hidden = !list.hidden;
window.addEventListener("online", () => location.reload());
