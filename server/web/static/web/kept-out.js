// Kept out, on a page that may be old: how old its news is, and that a label's time has ended since it came. All words
// come with the page. What a page can't know, it doesn't say: nothing here lets anybody in.

const OLD = 5 * 60; // seconds

// Seconds since the service wrote the page, by this phone's clock; not a number where its clock stands (the demo).
const ageOf = (news) => (Date.now() - Date.parse(news.dataset.served)) / 1000;

const tell = (news) => {
  const age = ageOf(news);
  // A clock that was put back makes a page younger than it can be: then nobody knows how old it is.
  // The page came from the phone (offline/keep.js), and no newer one is on its way (offline/fresh.js).
  const { keptAt, asked } = document.documentElement.dataset;
  const kept = keptAt !== undefined && asked === undefined;
  news.querySelector("[data-old]").hidden = !kept && navigator.onLine && !(Math.abs(age) >= OLD);
  if (Number.isNaN(age)) return;
  for (const notice of news.querySelectorAll("[data-ends-in]")) {
    const ended = age >= Number(notice.dataset.endsIn);
    for (const line of notice.querySelectorAll("[data-while]")) line.hidden = ended;
    for (const line of notice.querySelectorAll("[data-after]")) line.hidden = !ended;
  }
};

const told = () => document.querySelector("[data-kept-out]");
if (told()) {
  const again = () => tell(told());
  for (const happening of ["online", "offline", "pageshow"]) window.addEventListener(happening, again);
  for (const happening of ["visibilitychange", "age-told"]) document.addEventListener(happening, again);
  setInterval(again, 20_000);
  again();
}
