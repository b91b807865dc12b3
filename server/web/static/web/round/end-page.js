// The end of a round on the spot, drawn from the facts: what server/web/templates/web/round_end.html says, without signal.
import { highestOf, resultsOf } from "./end.js";
import { judged } from "./legs.js";
import { amount, fill, forNumber } from "./numbers.js";

const element = (name, className = "", ...inside) => {
  const made = document.createElement(name);
  made.className = className;
  made.append(...inside.filter((each) => each !== null && each !== ""));
  return made;
};

// Its last word: nobody counts on, so what was not enough is not clear, or too little.
const legTold = (facts, entry) => {
  const say = facts.legs;
  const mean = entry.count / entry.exposure;
  const found = judged(entry.animals, entry.plan);
  const word = found === "count_on" ? "not_clear" : found;
  const told = entry.exposure < say.fewest ? say.too_few : fill(say.words[word], { animals: entry.exposure });
  const level = entry.plan.level;
  const day = fill(say.that_day, {
    mean: amount(mean, facts.numbers, level),
    leg: amount(mean / say.legs, facts.numbers),
    level: amount(level, facts.numbers),
  });
  const caution = entry.sprayed && word === "enough_below" ? ` ${say.sprayed}` : "";
  return element("div", "verdict", element("p", say.marks[word], told), element("p", "", `${entry.label}: ${day}${caution}`));
};

const compared = (facts, result, before) => {
  const say = facts.words.end;
  const line = element("p");
  if (result.level !== null) {
    const word = element("span", `level-${result.word}`, say.levels[result.word]);
    line.append(word, ` · ${say.action_level} ${amount(result.level, facts.numbers)}. `);
  }
  const mean = before?.means[`${result.building}.${result.method}`];
  if (mean !== undefined) line.append(fill(say.before, { day: before.day, mean: amount(mean, facts.numbers) }), " ");
  if (result.missing) line.append(element("span", "soft", forNumber(say.missing, result.missing)));
  return line;
};

const buildingTold = (facts, result, before, legs) => {
  const method = facts.methods[result.method];
  const name = facts.buildings[result.building].name;
  const section = element("section", "end", element("h2", "", `${name} `, element("span", "soft", method.name)));
  section.dataset.say = "";
  if (result.mean === null) section.append(element("p", "level-none", facts.words.end.not_counted));
  else {
    const figure = `${result.atLeast ? "≥ " : ""}${amount(result.mean, facts.numbers)}`;
    section.append(element("p", "big", element("span", "figure", figure), ` ${method.unit}`), compared(facts, result, before));
  }
  section.append(...legs.map((entry) => legTold(facts, entry)));
  return section;
};

const lookTold = (facts, top) => {
  const say = facts.words.end;
  const { phrase, where } = facts.buildings[top.building];
  const first = top.place
    ? `${fill(say.holds, { station: top.place.label, building: phrase })} ${top.place.question}`
    : fill(say.none_stands_out, { building: phrase });
  const section = element("section", "note", element("h2", "", say.look), element("p", "", first));
  section.append(element("p", "", fill(say.hatch, { where })));
  section.dataset.say = "";
  return section;
};

// The sections of the end for what was stored before and what was entered now.
export const endSections = (facts, entries, walkedOn) => {
  const readings = [...facts.done, ...entries];
  const results = resultsOf(facts, readings);
  const before = facts.before && facts.before.walked_on < walkedOn ? facts.before : null;
  const buildingOf = new Map(facts.stations.map((station) => [station.id, station.building]));
  const legs = (result) =>
    entries.filter((entry) => result.method === "leg" && entry.plan && entry.animals && buildingOf.get(entry.station) === result.building);
  const told = results.map((result) => buildingTold(facts, result, before, legs(result)));
  const top = highestOf(results);
  if (!told.length) told.push(element("p", "", facts.words.end.nothing));
  return top ? [...told, lookTold(facts, top)] : told;
};

// The page in the form's place, when a round was put by until there is signal.
export const endPage = (facts, entries, { walkedOn, left, goOn }) => {
  const say = facts.words.end;
  const heading = element("h1", "", say.waits);
  heading.tabIndex = -1;
  const head = element("header", "page-head", heading, element("p", "lead", say.sends));
  head.dataset.say = "";
  const page = element("div", "round-end", head, ...endSections(facts, entries, walkedOn));
  if (left) {
    const button = element("button", "button", forNumber(say.go_on, left));
    button.type = "button";
    button.addEventListener("click", goOn);
    page.append(element("div", "button-row", button));
  }
  page.append(element("p", "hint", say.by_itself));
  return { page, heading };
};
