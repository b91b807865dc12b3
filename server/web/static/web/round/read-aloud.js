// A button that reads a step aloud, where the phone has a voice for the page's language; else it stays hidden.
const speech = window.speechSynthesis;
const language = document.documentElement.lang.slice(0, 2).toLowerCase();
const voice = () => speech?.getVoices().find((each) => each.lang.slice(0, 2).toLowerCase() === language);

// What is to be heard, in the page's order: whatever bears data-say and is to be seen.
const words = () =>
  [...document.querySelectorAll("main [data-say]")]
    .filter((each) => each.getClientRects().length)
    .map((each) => each.innerText.trim())
    .filter(Boolean)
    .map((text) => (/[.:?!]$/.test(text) ? text : `${text}.`))
    .join("\n");

const read = () => {
  const found = voice();
  // Pressed again while it speaks, it falls silent.
  const speaking = speech.speaking;
  speech.cancel();
  if (speaking || !found) return;
  const said = new SpeechSynthesisUtterance(words());
  said.voice = found;
  said.lang = found.lang;
  speech.speak(said);
};

export const showReading = () => {
  for (const button of document.querySelectorAll("[data-read-aloud]")) button.hidden = !voice();
};

if (speech) {
  document.addEventListener("click", (event) => event.target.closest?.("[data-read-aloud]") && read());
  // Voices come late in some browsers.
  speech.addEventListener?.("voiceschanged", showReading);
  window.addEventListener("pagehide", () => speech.cancel());
  showReading();
}
