// Signing out, and taking the farm off a phone: what waits is offered for sending first, or as a file; then the pages
// kept for this person are wiped. What wasn't sent stays, hidden, and goes at the next sign-in for that farm.
import { saveAsFile } from "./file.js";
import { forgetHolder } from "./keep.js";
import { listen, whatWaits } from "./queue.js";
import { flush } from "./send.js";
import { counted } from "./words.js";

const form = document.querySelector("form[data-leaves]");
const box = document.querySelector("[data-leaving]");
const holder = document.documentElement.dataset.holder ?? "";

const own = async () => {
  const { rounds, photos } = await whatWaits();
  const mine = (item) => item.holder === holder;
  return { rounds: rounds.filter(mine), photos: photos.filter(mine) };
};

const draw = async () => {
  const { rounds, photos } = await own();
  box.hidden = rounds.length + photos.length === 0;
  box.querySelector("h2").textContent = rounds.length
    ? counted(rounds.length, box.dataset.one, box.dataset.many)
    : counted(photos.length, box.dataset.onePhoto, box.dataset.manyPhotos);
};

box.querySelector("[data-send]").addEventListener("click", async () => {
  await flush({ urgent: true });
  await draw();
  if (!box.hidden) box.querySelector("[data-still]").hidden = false;
});
box.querySelector("[data-file]").addEventListener("click", async () => saveAsFile(await own()));
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  await forgetHolder().catch(() => {});
  HTMLFormElement.prototype.submit.call(form);
});
listen(draw);
await draw();
