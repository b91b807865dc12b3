// The running verdict below the boxes of a leg count. By which totals it judges and what it says come with the page, so
// it needs no signal; without scripts the table on the page says the same. How the totals are worked out stands in
// monitoring/analysis/leg_verdict.py, and tests/journeys/test_leg_verdict.py holds the two together.
import { judged } from "./round/legs.js";
import { digitsOf, rounded } from "./round/numbers.js";

// Whole numbers, one an animal, in the order of the boxes; null while something else stands among them.
const typed = (boxes) => {
  const parts = [...boxes].flatMap((box) => box.value.split(/[\s,;]+/)).filter((part) => part);
  return parts.every((part) => /^[0-9]{1,7}$/.test(part)) ? parts.map(Number) : null;
};

const amount = (value, level) => {
  const digits = digitsOf(value, level);
  const how = { minimumFractionDigits: digits, maximumFractionDigits: digits };
  return new Intl.NumberFormat(document.documentElement.lang, how).format(Number(rounded(value, digits)));
};

const write = (line, text) => {
  if (line.textContent !== text) line.textContent = text;
};

for (const place of document.querySelectorAll("[data-leg-plan]")) {
  const plan = JSON.parse(place.dataset.legPlan);
  const say = JSON.parse(place.dataset.say);
  const boxes = place.closest(".station").querySelectorAll(".animals input");
  const [word, mean] = place.querySelectorAll("[role=status] p");
  const tell = () => {
    const flies = typed(boxes);
    const spoken = flies !== null && flies.length >= plan.fewest;
    const code = spoken ? judged(flies, plan) : "";
    const sum = spoken ? flies.reduce((one, other) => one + other) : 0;
    word.className = code ? say.marks[code] : "";
    write(word, code ? say.words[code].replace("{animals}", flies.length) : "");
    write(mean, code ? say.so_far.replace("{mean}", amount(sum / flies.length, plan.level)) : "");
  };
  for (const box of boxes) box.addEventListener("input", tell);
  place.closest("form").addEventListener("round:restored", tell);
  tell();
}
