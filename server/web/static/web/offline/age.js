// The line above a page that came from the phone: from when it is, and why no newer one is shown.
import { filled, whenText } from "./words.js";

const line = document.getElementById("page-age");
const root = document.documentElement;

// `why` names the words that came with the page.
export const sayAge = (why) => {
  delete root.dataset.asked;
  document.dispatchEvent(new Event("age-told"));
  if (!line) return;
  const when = whenText(root.dataset.keptAt, root.lang);
  line.querySelector("span").textContent = filled(line.dataset[why], { when });
  line.querySelector("a").hidden = why !== "signedOut";
  line.hidden = false;
};
// As new as can be: no longer a page from the phone.
export const takeAgeBack = () => {
  delete root.dataset.asked;
  delete root.dataset.keptAt;
  document.dispatchEvent(new Event("age-told"));
  if (line) line.hidden = true;
};
