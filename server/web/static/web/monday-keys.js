// Keys for the Monday list. They are heard only while the focus is in the list (WCAG 2.1.4), never in a field, and
// never together with Ctrl, Alt or the system's key. Without this script every one of them has a link or a field.

const list = () => document.querySelector("[data-monday]");
const names = () => [...list().querySelectorAll(".farm-name")];
const lineOf = (element) => element.closest("li[id^='farm-']");
const isField = (element) => element.matches("input, select, textarea, [contenteditable]");

function go(from, by) {
  const all = names();
  const here = all.indexOf(from?.querySelector(".farm-name"));
  const next = all[here + by];
  if (next) focusOn(next);
}

function focusOn(element) {
  element.focus({ preventScroll: true });
  element.scrollIntoView({ block: "nearest" });
}

function leaveNote(line) {
  line.querySelector(".note-here").replaceChildren();
  focusOn(line.querySelector(".farm-name"));
}

const ACTIONS = {
  j: (line) => go(line, 1),
  ArrowDown: (line) => go(line, 1),
  k: (line) => go(line, -1),
  ArrowUp: (line) => go(line, -1),
  n: (line) => line.querySelector("[data-note]").click(),
  "/": () => document.querySelector(".list-form input[type=search]").focus(),
  "?": () => {
    const keys = document.querySelector("#list-keys");
    keys.open = !keys.open;
  },
};

document.addEventListener("keydown", (event) => {
  const line = event.target instanceof Element && list()?.contains(event.target) ? lineOf(event.target) : null;
  if (!line || event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  if (event.key === "Escape" && event.target.closest(".note-here")) {
    leaveNote(line);
    return;
  }
  const action = isField(event.target) ? null : ACTIONS[event.key];
  if (!action) return;
  event.preventDefault();
  action(line);
});

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-first]")) go(null, 1);
  const leave = event.target.closest(".note-here [data-leave-note]");
  if (leave) {
    event.preventDefault();
    leaveNote(lineOf(leave));
  }
});

// The note that was asked for is there: on to its first field.
document.addEventListener("htmx:after:swap", () => {
  document.querySelector(".note-here:has(form):not([data-seen]) textarea")?.focus();
  for (const place of document.querySelectorAll(".note-here")) place.toggleAttribute("data-seen", place.hasChildNodes());
});

// The address says what is shown, so that a list can be kept, and come back to.
document.addEventListener("htmx:after:swap", (event) => {
  const form = event.target instanceof Element ? event.target.closest(".list-form") : null;
  if (!form) return;
  const asked = new URLSearchParams([...new FormData(form)].filter(([, value]) => value));
  history.replaceState(null, "", asked.size ? `?${asked}` : location.pathname);
});

// A script that works: its keys are shown.
document.querySelector("#list-keys")?.removeAttribute("hidden");
