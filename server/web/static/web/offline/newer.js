// What a round's page says, to be held beside a newer one: without what differs each time it is asked for.
const IDS = '[name="walk-round_id"], [name="walk-note_id"], [name$="-reading_id"], [name$="-hung_id"]';
const PASSING = '[name="csrfmiddlewaretoken"], [data-old], .messages';

export const pageOf = (text) => new DOMParser().parseFromString(text, "text/html");

const sorted = (value) => {
  if (Array.isArray(value)) return value.map(sorted);
  if (value === null || typeof value !== "object") return value;
  return Object.fromEntries(Object.keys(value).sort().map((key) => [key, sorted(value[key])]));
};

const bare = (part) => {
  for (const each of part.querySelectorAll(PASSING)) each.remove();
  for (const each of part.querySelectorAll(IDS)) each.removeAttribute("value");
  for (const each of part.querySelectorAll("[data-ends-in]")) each.removeAttribute("data-ends-in");
  for (const each of part.querySelectorAll("[data-served]")) each.removeAttribute("data-served");
  // Its order may differ from one of the server's processes to another.
  for (const each of part.querySelectorAll('script[type="application/json"]')) {
    each.textContent = JSON.stringify(sorted(JSON.parse(each.textContent)));
  }
  return part;
};

// Takes out of the page what doesn't count.
export const whatMatters = (page) => {
  const { lang, dataset } = page.documentElement;
  return [lang, dataset.holder, bare(page.querySelector("main")).innerHTML].join("\n");
};

const noticesIn = (news) => [...news.querySelectorAll(".kept-out")].map((each) => each.textContent).join("\n");

// What is told of barns takes the place of what was told. A notice that wasn't there comes into sight, also where
// somebody types; a newly opened page begins with it.
export const showKeptOut = (page) => {
  const there = document.querySelector("[data-kept-out]");
  const news = document.importNode(page.querySelector("[data-kept-out]"), true);
  const isNew = noticesIn(news) !== noticesIn(there) && news.querySelector(".kept-out");
  if (isNew) news.setAttribute("role", "alert");
  there.replaceWith(news);
  if (isNew) news.scrollIntoView();
};
