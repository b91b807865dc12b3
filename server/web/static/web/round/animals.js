// Leg counts animal by animal: one big box at a time, and a list of those typed, each with a way to change it.
import { animalBoxes } from "./fields.js";
import { fill } from "./numbers.js";

const piece = (id) => document.getElementById(id).content.cloneNode(true);

export const animalByAnimal = (place, words) => {
  const boxes = animalBoxes(place);
  const holder = boxes[0].parentElement;
  const parts = piece("round-animals");
  const [name, further, list] = [".animal-now", "[data-do=animal]", "ol"].map((each) => parts.querySelector(each));
  holder.before(name);
  holder.after(further, list);
  let now = 0;

  const line = (box, number) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.textContent = `${number + 1}: ${box.value.trim()}`;
    button.setAttribute("aria-label", fill(words.change_animal, { number: number + 1, count: box.value.trim() }));
    button.addEventListener("click", () => goTo(number));
    const item = document.createElement("li");
    item.append(button);
    return item;
  };

  const draw = () => {
    boxes.forEach((box, number) => box.classList.toggle("now", number === now));
    name.textContent = fill(words.animal, { number: now + 1 });
    further.hidden = now === boxes.length - 1;
    const typed = boxes.map((box, number) => [box, number]).filter(([box, number]) => box.value.trim() && number !== now);
    list.replaceChildren(...typed.map(([box, number]) => line(box, number)));
  };

  const goTo = (number) => {
    now = number;
    draw();
    boxes[now].focus();
    boxes[now].select();
  };

  // An empty box is no animal: the next one takes its place only when something stands in it.
  const next = () => {
    if (boxes[now].value.trim() && now < boxes.length - 1) goTo(now + 1);
    else boxes[now].focus();
  };

  const restart = () => {
    const empty = boxes.findIndex((box) => !box.value.trim());
    now = empty < 0 ? boxes.length - 1 : empty;
    draw();
  };

  further.addEventListener("click", next);
  restart();
  return { next, restart, draw };
};
