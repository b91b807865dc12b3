// A round one station at a time. Everything typed stands in the form's own fields, which are sent as they are: without
// scripts the same form is one long page. Other modules: fields.js reads a station, jump.js asks about a big jump,
// undo.js goes back, arrange.js makes steps of the long page, animals.js counts legs, end-page.js draws the end,
// read-aloud.js reads a step, sight.js scrolls to it.
import { animalByAnimal } from "./animals.js";
import { arrange } from "./arrange.js";
import { endPage } from "./end-page.js";
import { animalBoxes, field, hangsFirst, presetGivesWay, readStation, reasonOf } from "./fields.js";
import { isBigJump, lastTold, nowTold } from "./jump.js";
import { fill, forNumber } from "./numbers.js";
import { showReading } from "./read-aloud.js";
import { bringIntoSight, bringIntoSightAtFirst } from "./sight.js";
import { undoOf } from "./undo.js";

const form = document.querySelector("form[data-round]");
const facts = JSON.parse(document.getElementById("round-facts").textContent);
const words = facts.words;
const places = [...form.querySelectorAll(".station")];
const piece = (id) => document.getElementById(id).content.cloneNode(true);
const order = ["list", ...places, "finish"];
const stations = new Map(facts.stations.map((each) => [each.id, each]));

let at = null;
let typed = false;
let leaving = false;
// What was asked and answered with yes, by station: each number is asked about once.
const answered = new Map();
let waitsForAnswer = null;

const walkedOn = () => form.elements["walk-walked_on"].value;
const read = (place) => {
  const entry = readStation(place, walkedOn());
  return { ...entry, label: stations.get(entry.station).label };
};
const methodOf = (place) => facts.methods[place.dataset.method];
const stateOf = (entry) => fill(words.states[entry.state], { reason: entry.reasonWord });
const stillOpen = () => places.filter((place) => read(place).state === "open");

// --- What is added to the page --------------------------------------------------------------------------------------
form.prepend(piece("round-head"));
form.querySelector(".finish").before(piece("round-list"));
form.append(piece("round-foot"));
const finish = form.querySelector(".finish");
finish.prepend(piece("round-finish"));
const parts = [".step-told", ".step-list", ".jump", "[data-moves]"];
const [told, list, jump, moves] = parts.map((each) => form.querySelector(each));
const aloud = form.querySelector("[data-read-aloud]");
const onlyInList = [...form.querySelectorAll(":scope > .who, :scope > .day")];
onlyInList.forEach((each) => list.querySelector("ol").before(each));
const help = document.querySelector("main > details.help");
if (help) form.after(help);

// Each when it is first shown: on a slow phone the first of them would wait for all the others.
const arranged = new Set();
const arrangeOnce = (place) => {
  if (!arranged.has(place)) arrange(place, places.indexOf(place), { facts, stations, all: places.length });
  arranged.add(place);
};
const animals = new Map(
  places.filter((place) => animalBoxes(place).length).map((place) => [place, animalByAnimal(place, words)]),
);
// What was typed before this script came, or was put back by the browser.
places.forEach(presetGivesWay);
const undo = undoOf(places);
form.dataset.steps = "";
for (const each of form.querySelectorAll(".count-field input")) each.enterKeyHint = "next";

// --- Where we are ---------------------------------------------------------------------------------------------------
const anchorOf = (step) => (step === "list" || step === "finish" ? `round-${step}` : step.id);
// By its own anchor, which names the card that hangs; or by the station's, which a tag without signal knows alone.
const stationOf = (step) => step.querySelector?.('[name="line"]').value.split(".")[0];
const stepOf = (hash) =>
  order.find((step) => `#${anchorOf(step)}` === hash) ?? order.find((step) => `#at-${stationOf(step)}` === hash);

// So that a switch of language comes back here.
const remember = (step) => {
  const here = `${window.location.pathname}${window.location.search}#${anchorOf(step)}`;
  window.history.replaceState(window.history.state, "", here);
  for (const each of document.querySelectorAll("form.language [name=next]")) each.value = here;
};

const lineOf = (place) => {
  const entry = read(place);
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet";
  const state = document.createElement("span");
  state.className = `state state-${entry.state}`;
  state.textContent = stateOf(entry);
  button.append(`${entry.label} `, state);
  button.addEventListener("click", () => show(place));
  const item = document.createElement("li");
  item.append(button);
  return item;
};

const drawList = () => {
  const lines = [];
  let building = null;
  for (const place of places) {
    const own = stations.get(read(place).station).building;
    if (own !== building) {
      const name = document.createElement("li");
      name.className = "building-name";
      name.textContent = facts.buildings[own].name;
      lines.push(name);
    }
    building = own;
    lines.push(lineOf(place));
  }
  list.querySelector("ol").replaceChildren(...lines);
};

const named = (text, some) => {
  if (!some.length) return [];
  const line = document.createElement("p");
  line.textContent = text;
  const all = document.createElement("ol");
  all.className = "plain";
  all.append(...some.map(lineOf));
  return [line, all];
};

const drawFinish = () => {
  const wrong = places.filter((place) => read(place).state === "wrong");
  const open = stillOpen();
  const nothing = document.createElement("p");
  nothing.textContent = words.none_left;
  const lines = [...named(words.finish_wrong, wrong), ...named(words.finish_open, open)];
  finish.querySelector(".finish-open").replaceChildren(...(lines.length ? lines : [nothing]));
};

// The last count, once today's stands; never before, since it would steer it. Of legs from the tenth animal on.
const drawLast = (place) => {
  if (!arranged.has(place)) return;
  const entry = read(place);
  const last = facts.last[entry.station];
  const entered = entry.count !== null && entry.state === "counted" && (!entry.animals || entry.exposure >= facts.legs.fewest);
  place.querySelector(".last-count").textContent = entered && last ? fill(words.last, { count: lastTold(entry, last) }) : "";
};

const draw = () => {
  for (const place of places) place.hidden = place !== at;
  if (at instanceof Element) {
    arrangeOnce(at);
    drawLast(at);
  }
  for (const each of form.querySelectorAll("section.building")) each.hidden = !each.contains(at instanceof Element ? at : null);
  list.hidden = at !== "list";
  finish.hidden = at !== "finish";
  if (at === "list") drawList();
  if (at === "finish") drawFinish();
  const row = order.indexOf(at);
  const [back, next] = ["back", "next"].map((each) => moves.querySelector(`[data-do=${each}]`));
  back.hidden = row === 0;
  next.hidden = row === order.length - 1;
  form.querySelector("[data-do=undo]").disabled = !undo.any;
  form.querySelector("[data-do=list]").hidden = at === "list";
  form.querySelector("[data-do=finish]").hidden = at === "finish";
  document.body.classList.toggle("at-a-station", at instanceof Element);
  (at instanceof Element ? at.querySelector(".say") : told).after(aloud);
  showReading();
};

const headingOf = (step) => (step instanceof Element ? step.querySelector("h3") : (step === "list" ? list : finish).querySelector("h2"));
const boxOf = (step) => step instanceof Element && step.querySelector(".count-field input, .animals input.now");

// Whoever types on goes to the next number; whoever presses a button, to the step's heading.
const show = (step, { typing = false, quiet = false } = {}) => {
  at = step;
  closeJump();
  animals.get(step)?.restart();
  draw();
  remember(step);
  if (quiet) return;
  const heading = headingOf(step);
  const box = typing && boxOf(step);
  if (box) {
    box.focus({ preventScroll: true });
    box.select();
  } else heading.focus({ preventScroll: true });
  bringIntoSight(form);
};

const say = (text) => {
  told.textContent = text;
};
const leftTold = () => {
  const number = stillOpen().length;
  return number ? forNumber(words.left, number) : words.none_left;
};

// "Card 3: 42. Last time: 40. 9 still open."
const tell = (place) => {
  const entry = read(place);
  if (entry.state === "open" || entry.state === "wrong") return say(leftTold());
  const last = facts.last[entry.station];
  const count = entry.state === "counted" ? nowTold(entry, methodOf(place), facts) : "";
  const kinds = { counted: words.entered, uncounted: words.uncounted, hung: words.hung };
  const line = [fill(kinds[entry.state], { station: entry.label, count, reason: entry.reasonWord })];
  if (count && last) line.push(fill(words.last, { count: lastTold(entry, last) }));
  return say([...line, leftTold()].join(" "));
};

// --- Going on -------------------------------------------------------------------------------------------------------
const closeJump = () => {
  jump.hidden = true;
  moves.hidden = false;
  waitsForAnswer = null;
};

const asks = (place, entry) => {
  const [last, method] = [facts.last[entry.station], methodOf(place)];
  const rule = { times: facts.jump.times, apart: facts.jump.apart[place.dataset.method] };
  const number = `${entry.count}/${entry.exposure}/${entry.part}`;
  if (entry.state !== "counted" || answered.get(place) === number || !isBigJump(entry, last, method, rule)) return false;
  const count = nowTold(entry, method, facts);
  answered.set(place, number);
  jump.querySelector("p").textContent = fill(words.jump, { count, last: lastTold(entry, last) });
  jump.querySelector("[data-do=yes]").textContent = fill(words.yes, { count });
  jump.hidden = false;
  moves.hidden = true;
  jump.focus();
  return true;
};

const complain = (place, wrong) => {
  const box = boxOf(place);
  const id = `${place.id}-unreadable`;
  let line = document.getElementById(id);
  if (!line && wrong) {
    line = document.createElement("p");
    line.id = id;
    line.className = "field-error";
    line.setAttribute("role", "alert");
    (place.querySelector(".count-field, .animals-typed") ?? place.querySelector("h3")).after(line);
  }
  if (line) line.textContent = wrong ? words.unreadable : "";
  if (!box) return;
  if (wrong) box.setAttribute("aria-invalid", "true");
  else box.removeAttribute("aria-invalid");
};

// Leaves a station: what can't be read is said first, a big jump is asked about once, then it goes on.
const leave = (then) => {
  const place = at;
  if (!(place instanceof Element)) return then();
  undo.note(place);
  const entry = read(place);
  complain(place, entry.state === "wrong");
  drawLast(place);
  if (entry.state === "wrong") return boxOf(place)?.focus();
  if (asks(place, entry)) {
    waitsForAnswer = then;
    return undefined;
  }
  tell(place);
  return then();
};

const step = (by, typing = false) => leave(() => show(order[order.indexOf(at) + by] ?? at, { typing }));

const takeBack = () => {
  if (at instanceof Element) undo.note(at);
  const place = undo.back();
  if (!place) return;
  complain(place, false);
  show(place);
  say(fill(words.undone, { station: read(place).label }));
};

const yes = () => {
  const then = waitsForAnswer;
  tell(at);
  closeJump();
  then?.();
};

const change = () => {
  closeJump();
  const box = boxOf(at);
  box?.focus();
  box?.select();
};

const send = (event) => {
  const wrong = places.find((place) => read(place).state === "wrong");
  if (!wrong) return;
  event.preventDefault();
  show(wrong);
  complain(wrong, true);
};

const DO = {
  back: () => step(-1),
  next: () => step(1),
  // Skipping ahead holds nobody up: what can't be read is named in the list, a jump is asked about on the way back.
  list: () => skipTo("list"),
  finish: () => skipTo("finish"),
  undo: takeBack,
  yes,
  change,
};

const skipTo = (wanted) => {
  if (at instanceof Element) {
    if (read(at).state !== "wrong") return leave(() => show(wanted));
    undo.note(at);
  }
  return show(wanted);
};

// A number takes a reason away, as a card does that hangs where none did; and a reason the number: a card has one of the
// two.
const keepOne = (target) => {
  const place = target.closest?.(".station");
  if (!place || !target.value.trim()) return;
  const none = place.querySelector('[name$="-reason"][value=""]');
  const gives = /-(count|cups|animals)$/.test(target.name) || (/-fresh$/.test(target.name) && hangsFirst(place));
  if (gives && reasonOf(place)?.value && none) none.checked = true;
  if (/-reason$/.test(target.name) && target.checked) {
    for (const box of [field(place, "count"), field(place, "cups"), ...animalBoxes(place)].filter(Boolean)) box.value = "";
    for (const each of [field(place, "at_least")].filter(Boolean)) each.checked = false;
    if (field(place, "part")) field(place, "part").value = "1";
    animals.get(place)?.restart();
  }
};

form.addEventListener("click", (event) => {
  const wanted = event.target.closest?.("[data-do]");
  if (wanted && wanted.dataset.do in DO) DO[wanted.dataset.do]();
  else if (event.target.closest?.(".finish .button-row button:not([type=button])")) send(event);
});
form.addEventListener("input", (event) => {
  typed = true;
  keepOne(event.target);
});
form.addEventListener("change", (event) => {
  const place = event.target.closest?.(".station");
  if (!place) return;
  undo.note(place);
  drawLast(place);
  if (read(place).state !== "wrong") complain(place, false);
  form.querySelector("[data-do=undo]").disabled = !undo.any;
});
form.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.isComposing || event.target.tagName !== "INPUT") return;
  // The number keys' "next" must never send a round half done.
  event.preventDefault();
  if (event.target.closest(".animals") && event.target.value.trim()) {
    undo.note(at);
    animals.get(at)?.next();
  } else if (at instanceof Element) step(1, true);
});
form.addEventListener("submit", () => {
  leaving = true;
  // The answer's page would take the step's anchor over.
  window.history.replaceState(window.history.state, "", window.location.pathname + window.location.search);
});
form.addEventListener("round:restored", () => {
  places.forEach(presetGivesWay);
  undo.forget();
  for (const each of animals.values()) each.restart();
  if (untouched && !stepOf(window.location.hash)) show(first(), { quiet: true });
  else draw();
});
form.addEventListener("round:waits", (event) => {
  event.preventDefault(); // the end is shown here
  const entries = places
    .map((place) => ({ place, ...read(place) }))
    .filter((entry) => (entry.count === null ? entry.reason : entry.exposure > 0));
  for (const entry of entries) {
    const plan = entry.place.querySelector("[data-leg-plan]");
    entry.plan = plan ? JSON.parse(plan.dataset.legPlan) : null;
    entry.part ??= [1, 1];
  }
  const open = stillOpen();
  const around = [form, help, document.querySelector("main > .page-head")].filter(Boolean);
  const goOn = () => {
    leaving = false;
    form.dispatchEvent(new CustomEvent("round:goes-on", { bubbles: true }));
    page.remove();
    for (const each of around) each.hidden = false;
    show(open[0]);
  };
  const { page, heading } = endPage(facts, entries, { walkedOn: walkedOn(), left: open.length, goOn });
  leaving = true;
  for (const each of around) each.hidden = true;
  document.body.classList.remove("at-a-station");
  form.after(page);
  heading.parentElement.after(aloud);
  showReading();
  heading.focus();
  window.scrollTo(0, 0);
});
window.addEventListener("hashchange", () => {
  const wanted = stepOf(window.location.hash);
  if (wanted && wanted !== at) show(wanted);
});
// Where nothing keeps a draft (offline/ says data-kept), leaving asks first.
window.addEventListener("beforeunload", (event) => {
  if (typed && !leaving && !("kept" in form.dataset)) event.preventDefault();
});

// --- Begin ----------------------------------------------------------------------------------------------------------
let untouched = true;
form.addEventListener("pointerdown", () => (untouched = false), { once: true });
form.addEventListener("keydown", () => (untouched = false), { once: true });

// Where something is wrong; where nobody said who counts, there; else the first that is open.
const first = () => {
  const wrong = places.find((place) => place.querySelector(".field-error"));
  if (wrong) return wrong;
  if (form.querySelector(".day .field-error")) return "list";
  const open = stillOpen();
  const nobody = form.querySelector('.who input[value=""]:checked');
  if (nobody && open.length === places.length) return "list";
  // On a first visit everything is taken as hung, and is still walked from the first on.
  const counted = places.some((place) => ["counted", "uncounted"].includes(read(place).state));
  return open[0] ?? (counted ? "finish" : places[0]);
};
show(stepOf(window.location.hash) ?? first(), { quiet: true });
bringIntoSightAtFirst(form, () => untouched);
