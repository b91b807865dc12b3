// Stations as pegs on the board: a button each, in the tray until it is on the sheet. Dragging moves it; so do the arrow
// keys, by one percent of the sheet, with Shift by five. Enter puts it down, Escape takes it back, Delete off the plan.
import { percent, spoken, within } from "./places.js";

const STEP = 0.01;
const LEAP = 0.05;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const SLIP = 4; // pixels that a finger may tremble

export function pegs(board) {
  const all = new Map();
  let lifted = null; // { peg, from }: carried by the keyboard, and where it was

  const fields = (id) => ["left", "top"].map((side) => board.form.elements[`${side}-${id}`]);

  const read = (id) => {
    const typed = fields(id).map((field) => Number.parseFloat(field.value.replace(",", ".")) / 100);
    return typed.every((part) => part >= 0 && part <= 1) ? typed : null;
  };

  const write = (id, place) => {
    fields(id).forEach((field, side) => {
      field.value = place ? percent(place[side]) : "";
    });
  };

  const show = (peg, place) => {
    peg.place = place;
    const home = place ? board.sheet : board.tray.querySelector("[data-pegs]");
    if (peg.button.parentElement !== home) home.append(peg.button);
    peg.button.style.left = place ? `${place[0] * 100}%` : "";
    peg.button.style.top = place ? `${place[1] * 100}%` : "";
    board.tray.hidden = [...all.values()].every((each) => each.place);
  };

  const put = (peg, place) => {
    show(peg, place);
    write(peg.id, place);
  };

  const told = (peg) => ({ label: peg.label, left: spoken(peg.place?.[0] ?? 0), top: spoken(peg.place?.[1] ?? 0) });

  const putDown = () => {
    if (!lifted) return;
    const { peg } = lifted;
    lifted = null;
    peg.button.classList.remove("lifted");
    board.say("put_down", told(peg));
  };

  const takeBack = () => {
    const { peg, from } = lifted;
    lifted = null;
    board.forget();
    put(peg, from);
    peg.button.classList.remove("lifted");
    peg.button.focus();
    board.say(from ? "taken_back" : "back_in_tray", told(peg));
  };

  const step = (peg, [right, down], far) => {
    if (lifted?.peg !== peg) {
      putDown();
      board.remember();
      lifted = { peg, from: peg.place };
      peg.button.classList.add("lifted");
    }
    const [x, y] = peg.place ?? [0.5, 0.5];
    const by = peg.place ? (far ? LEAP : STEP) : 0; // out of the tray it comes to the middle first
    put(peg, [within(x + right * by), within(y + down * by)]);
    peg.button.focus();
    board.say("moved", told(peg));
  };

  const off = (peg) => {
    if (!peg.place) return;
    board.remember();
    put(peg, null);
    peg.button.focus();
    board.say("off_the_plan", told(peg));
  };

  const pressed = (peg) => (event) => {
    if (ARROWS[event.key]) step(peg, ARROWS[event.key], event.shiftKey);
    else if (event.key === "Enter" && lifted) putDown();
    else if (event.key === "Enter" && !peg.place) step(peg, [0, 0], false);
    else if (event.key === "Escape" && lifted) takeBack();
    else if (event.key === "Delete" || event.key === "Backspace") off(peg);
    else return;
    event.preventDefault();
  };

  const dragged = (peg) => (event) => {
    if (event.button) return;
    const { button } = peg;
    const start = [event.clientX, event.clientY];
    let moved = false;
    const move = (now) => {
      const [x, y] = [now.clientX - start[0], now.clientY - start[1]];
      moved ||= Math.hypot(x, y) > SLIP;
      if (moved) button.style.translate = `${x}px ${y}px`;
    };
    const end = (now) => {
      button.removeEventListener("pointermove", move);
      button.removeEventListener("pointerup", end);
      button.removeEventListener("pointercancel", end);
      const box = button.getBoundingClientRect();
      button.style.translate = "";
      if (!moved || now.type === "pointercancel") return;
      const place = board.at(box.left + box.width / 2, box.top + box.height / 2);
      board.remember();
      put(peg, place && place.map(within));
      board.say(place ? "put_down" : "off_the_plan", told(peg));
    };
    putDown();
    button.setPointerCapture(event.pointerId);
    button.addEventListener("pointermove", move);
    button.addEventListener("pointerup", end);
    button.addEventListener("pointercancel", end);
  };

  const make = (row) => {
    const button = document.createElement("button");
    const plate = document.createElement("span");
    const peg = { id: row.dataset.station, label: row.dataset.label, button, place: null };
    button.type = "button";
    button.className = "peg";
    button.setAttribute("aria-describedby", "plan-keys");
    plate.textContent = peg.label;
    button.append(plate);
    button.addEventListener("keydown", pressed(peg));
    button.addEventListener("pointerdown", dragged(peg));
    // Whoever goes on to something else has put it down.
    button.addEventListener("blur", () => setTimeout(() => document.activeElement !== button && lifted?.peg === peg && putDown()));
    for (const field of fields(peg.id)) field.addEventListener("change", () => show(peg, read(peg.id)));
    return peg;
  };

  for (const row of board.form.querySelectorAll("[data-station]")) {
    const peg = make(row);
    all.set(peg.id, peg);
    show(peg, read(peg.id));
  }

  return {
    kept: () => new Map([...all].map(([id, peg]) => [id, peg.place])),
    restore: (places) => places.forEach((place, id) => put(all.get(id), place)),
  };
}
