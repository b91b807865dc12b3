// The plan as a board: stations are moved and outlines drawn on the sheet itself, by finger, mouse or keyboard. Nothing
// is saved before the form is sent, in one piece; what a script moves stands in the form's own fields, so that without
// scripts the same form does the same. Words come with the page.
import { outlines } from "./outlines.js";
import { pegs } from "./pegs.js";

const form = document.querySelector("[data-board]");
const find = (name) => form.querySelector(`[data-${name}]`);

const board = {
  form,
  sheet: find("sheet"),
  tray: find("tray"),
  words: JSON.parse(document.getElementById("plan-words").textContent),
  history: [],

  // Said to whoever hears the page, and written for whoever sees it.
  say(sentence, values = {}) {
    find("said").textContent = Object.entries(values).reduce(
      (text, [name, value]) => text.replaceAll(`{${name}}`, value),
      board.words[sentence] ?? sentence,
    );
  },

  // How things stand before a change, for "Undo".
  remember() {
    board.history.push({ outlines: board.outlines.kept(), places: board.pegs.kept() });
    find("undo").disabled = false;
  },

  // The last change was taken back by itself.
  forget() {
    const before = board.history.pop();
    find("undo").disabled = board.history.length === 0;
    return before;
  },

  undo() {
    const before = board.forget();
    if (!before) return;
    board.outlines.restore(before.outlines);
    board.pegs.restore(before.places);
    board.say("undone");
  },

  // A point of the screen on the sheet, from 0 (left, top) to 1; null beside it.
  at(x, y) {
    const paper = board.sheet.getBoundingClientRect();
    const place = [(x - paper.left) / paper.width, (y - paper.top) / paper.height];
    return place.every((part) => part >= 0 && part <= 1) ? place : null;
  },
};

if (form) {
  for (const part of form.querySelectorAll("[data-plain]")) part.hidden = true;
  for (const part of form.querySelectorAll("[data-drawing]")) part.hidden = false;
  for (const part of form.querySelectorAll("details[data-fold]")) part.open = false;
  board.outlines = outlines(board);
  board.pegs = pegs(board);
  find("undo").addEventListener("click", board.undo);
}
