// One station's part of the long page as a step of its own: its picture, and each reason one tap away.
import { stationOf } from "./fields.js";
import { fill } from "./numbers.js";

const piece = (id) => document.getElementById(id).content.cloneNode(true);

export const arrange = (place, number, { facts, stations, all }) => {
  const { words } = facts;
  const hangs = facts.methods[place.dataset.method].hangs;
  const name = place.querySelector("h3");
  const days = name.querySelector(".soft");
  const where = document.createElement("span");
  where.className = "soft";
  const { building } = stations.get(stationOf(place));
  const told = fill(words.where, { building: facts.buildings[building].name, number: number + 1, all });
  where.textContent = days ? `${told} · ${days.textContent}` : told;
  if (days) days.replaceWith(where);
  else name.append(" ", where);
  name.tabIndex = -1;
  name.dataset.say = "";
  name.after(piece(`round-picture-${place.dataset.method}`));
  const more = place.querySelector("details.more");
  // One tap each: nothing has to be unfolded first.
  if (!("first" in place.dataset)) {
    const [reasons, fresh] = [".reasons", ".fresh"].map((each) => more.querySelector(each));
    more.before(...[reasons, fresh].filter(Boolean));
    reasons.querySelectorAll("legend, .choice").forEach((each) => (each.dataset.say = ""));
    more.querySelector("summary").firstChild.data = hangs ? words.more : words.more_legs;
    // The server opens it for what now stands outside it, too.
    const inside = [...more.querySelectorAll("input, select")];
    more.open = inside.some((each) => (each.type === "checkbox" ? each.checked : each.type !== "radio" && each.value && each.value !== "1"))
      || more.querySelector(".field-error") !== null;
  }
  const last = document.createElement("p");
  last.className = "last-count";
  // Beside the number, where it moves nothing that a thumb is about to press.
  const unit = place.querySelector(".count-field .unit");
  if (unit && !("first" in place.dataset)) {
    const beside = document.createElement("div");
    beside.className = "beside";
    unit.replaceWith(beside);
    beside.append(unit, last);
  } else more.before(last);
};
