// Photos of a card, or of where flies hatch: taken on the round's page, made smaller there, kept until they are sent.
import { uuid7 } from "./ids.js";
import { erase, readAll, write } from "./store.js";
import { filled } from "./words.js";

const LONGEST_SIDE = 2000;
const MOST_BYTES = 10 * 1024 * 1024;

// Drawn anew, which also leaves behind what a camera writes into a picture, such as the place. What this browser can't
// draw is sent as it is, and the server judges it.
const smaller = async (file) => {
  try {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    [canvas.width, canvas.height] = [picture.width, picture.height].map((side) => Math.max(1, Math.round(side * scale)));
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    return (await new Promise((done) => { canvas.toBlob(done, "image/jpeg", 0.85); })) ?? file;
  } catch {
    return file;
  }
};

// As bytes: a File is only a pointer, which some browsers lose when they are closed.
const kept = async (file, about) => {
  const picture = await smaller(file);
  if (picture.size > MOST_BYTES) return null;
  const bytes = await picture.arrayBuffer();
  const photo = { ...about, id: uuid7(), taken_at: new Date().toISOString(), type: picture.type, bytes };
  await write("photos", { ...photo, state: "waiting", tries: 0, next_at: 0, may_go: false });
  return photo;
};

const element = (tag, more = {}) => Object.assign(document.createElement(tag), more);

const shown = (photo, name, say) => {
  const item = element("li");
  const address = URL.createObjectURL(new Blob([photo.bytes], { type: photo.type }));
  const remove = element("button", { type: "button", className: "quiet-button", textContent: say.photoRemove });
  remove.setAttribute("aria-label", filled(say.photoRemoveOf, { name }));
  remove.addEventListener("click", async () => {
    await erase("photos", photo.id);
    URL.revokeObjectURL(address);
    item.remove();
  });
  item.append(element("img", { src: address, alt: filled(say.photoOf, { name }) }), remove);
  return item;
};

const place = (say, name, about, taken) => {
  const box = element("div", { className: "photo" });
  const list = element("ul", { className: "photo-list" });
  const label = element("label", { className: "quiet-button" });
  const input = element("input", { type: "file", accept: "image/*", className: "visually-hidden" });
  input.setAttribute("capture", "environment");
  input.setAttribute("aria-label", filled(about.station ? say.photoTakeOf : say.photoTakeHatching, { name }));
  label.append(element("span", { textContent: about.station ? say.photoTake : say.photoTakeHatching }), input);
  const said = element("p", { className: "field-error", role: "alert", hidden: true });
  input.addEventListener("change", async () => {
    for (const file of input.files) {
      const photo = await kept(file, about).catch(() => null);
      said.hidden = Boolean(photo);
      said.textContent = photo ? "" : say.photoTooLarge;
      if (photo) list.append(shown(photo, name, say));
    }
    input.value = "";
    taken();
  });
  box.append(label, said, list);
  return { box, list };
};

// A button for each station of the form, and one for the round; what was taken before the page was closed is there.
export const addPhotos = async ({ form, say, round, farm, holder, taken }) => {
  const there = (await readAll("photos")).filter((photo) => photo.round === round && photo.holder === holder);
  const put = (parent, name, station, kind) => {
    const { box, list } = place(say, name, { round, farm, holder, station, kind }, taken);
    for (const photo of there) if ((photo.station ?? null) === station) list.append(shown(photo, name, say));
    parent.append(box);
  };
  const seen = new Set();
  for (const line of form.querySelectorAll('input[name="line"]')) {
    const [station] = line.value.split(".");
    const parent = line.closest(".station") ?? line.parentElement;
    if (seen.has(station) || parent === form) continue;
    seen.add(station);
    put(parent, parent.querySelector("h2, h3, legend")?.firstChild?.textContent.trim() ?? "", station, "card");
  }
  put(form.querySelector("[data-photo-place]") ?? form, say.farmName, null, "hatching");
};
