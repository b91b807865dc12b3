// Outlines of buildings and yards on the board: drawn corner by corner, by pressing on the sheet or with a pen that the
// arrow keys move and Enter lets draw. They stand as JSON in one field of the form.
import { spoken, within } from "./places.js";

const STEP = 0.01;
const LEAP = 0.05;
const FEWEST = 3;
const MOST_CORNERS = 40;
const MOST_OUTLINES = 60;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const SVG = "http://www.w3.org/2000/svg";

export function outlines(board) {
  const find = (name) => board.form.querySelector(`[data-${name}]`);
  const field = board.form.elements.outlines;
  const names = JSON.parse(document.getElementById("plan-facilities").textContent);
  let drawn = JSON.parse(field.value);
  let corners = null; // those set so far, while somebody draws
  let pen = [0.5, 0.5];

  const layer = document.createElementNS(SVG, "svg");
  layer.setAttribute("viewBox", "0 0 1 1");
  layer.setAttribute("preserveAspectRatio", "none");
  layer.setAttribute("class", "board-lines");
  layer.setAttribute("aria-hidden", "true");
  const tip = document.createElement("button");
  tip.type = "button";
  tip.className = "pen";
  tip.setAttribute("aria-label", board.words.pen);
  tip.setAttribute("aria-describedby", "plan-pen-keys");
  tip.hidden = true;
  for (const shown of board.sheet.querySelectorAll(".outline, .outline-name")) shown.remove();
  board.sheet.append(layer, tip);

  const nameOf = (outline) => outline.name || names[outline.facility_id] || "";

  const line = (points, kind) => {
    const shape = document.createElementNS(SVG, kind === "open" ? "polyline" : "polygon");
    shape.setAttribute("points", points.map((point) => point.join(",")).join(" "));
    shape.setAttribute("class", kind);
    layer.append(shape);
  };

  const label = (outline) => {
    const written = document.createElement("span");
    written.className = "board-name";
    written.textContent = nameOf(outline);
    const across = outline.points.map(([x]) => x);
    written.style.left = `${Math.min(...across) * 100}%`;
    written.style.width = `${(Math.max(...across) - Math.min(...across)) * 100}%`;
    written.style.top = `${Math.min(...outline.points.map(([, y]) => y)) * 100}%`;
    board.sheet.append(written);
  };

  const listed = () => {
    find("outline-list").replaceChildren(
      ...drawn.map((outline, place) => {
        const item = document.createElement("li");
        const away = document.createElement("button");
        away.type = "button";
        away.className = "quiet";
        away.textContent = board.words.take_away.replace("{name}", nameOf(outline));
        away.addEventListener("click", () => {
          board.remember();
          restore(drawn.filter((_, other) => other !== place));
          find("draw").focus();
          board.say("outline_away", { name: nameOf(outline) });
        });
        item.append(away);
        return item;
      }),
    );
  };

  const show = () => {
    layer.replaceChildren();
    for (const old of board.sheet.querySelectorAll(".board-name")) old.remove();
    drawn.forEach((outline) => {
      line(outline.points, "closed");
      label(outline);
    });
    if (corners) line([...corners, pen], "open");
    tip.style.left = `${pen[0] * 100}%`;
    tip.style.top = `${pen[1] * 100}%`;
  };

  const restore = (kept) => {
    drawn = kept;
    field.value = JSON.stringify(drawn);
    show();
    listed();
  };

  const drawing = (on) => {
    corners = on ? [] : null;
    tip.hidden = !on;
    find("pen-tools").hidden = !on;
    find("draw").hidden = on;
    board.sheet.classList.toggle("drawing", on);
    show();
    (on ? tip : find("draw")).focus();
  };

  const corner = () => {
    if (corners.length >= MOST_CORNERS) return board.say("corners_full");
    corners.push([...pen]);
    show();
    return board.say("corner_set", { number: corners.length, left: spoken(pen[0]), top: spoken(pen[1]) });
  };

  const cornerBack = () => {
    corners.pop();
    show();
    board.say("corner_back", { number: corners.length });
  };

  const what = () => {
    const facility = find("facility").value;
    return facility ? { name: "", facility_id: facility } : { name: find("name").value.trim(), facility_id: null };
  };

  const begin = () => {
    if (drawn.length >= MOST_OUTLINES) return board.say("outlines_full");
    if (!nameOf(what())) {
      find("name").focus();
      return board.say("name_first");
    }
    drawing(true);
    return board.say("pen_ready");
  };

  const close = () => {
    if (corners.length < FEWEST) return board.say("corners_few");
    board.remember();
    const made = { ...what(), points: corners };
    drawing(false);
    restore([...drawn, made]);
    return board.say("outline_made", { name: nameOf(made) });
  };

  const stop = () => {
    drawing(false);
    board.say("pen_away");
  };

  tip.addEventListener("keydown", (event) => {
    if (ARROWS[event.key]) {
      const [right, down] = ARROWS[event.key];
      const by = event.shiftKey ? LEAP : STEP;
      pen = [within(pen[0] + right * by), within(pen[1] + down * by)];
      show();
      board.say("pen_moved", { left: spoken(pen[0]), top: spoken(pen[1]) });
    } else if (event.key === "Enter" || event.key === " ") corner();
    else if (event.key === "Backspace") cornerBack();
    else if (event.key === "Escape") stop();
    else return;
    event.preventDefault();
  });
  board.sheet.addEventListener("pointerdown", (event) => {
    if (!corners || event.button) return;
    const place = board.at(event.clientX, event.clientY);
    if (!place) return;
    event.preventDefault();
    pen = place.map(within);
    corner();
    tip.focus();
  }, true);
  find("draw").addEventListener("click", begin);
  find("name").addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault(); // it would save the plan
    begin();
  });
  find("close").addEventListener("click", close);
  find("corner-back").addEventListener("click", cornerBack);
  find("stop").addEventListener("click", stop);
  show();
  listed();

  return { kept: () => structuredClone(drawn), restore };
}
