// Where a place of a fly walk is: the plan is shown beside the two numbers of the place that is opened, and a tap on it
// fills them in. Without scripts the numbers are typed, and the plan stands below the places.
const plan = document.querySelector("[data-walk-plan]");
const figure = plan?.querySelector("figure");
const SVG = "http://www.w3.org/2000/svg";

// The two fields of a place: across and down, in per cent of the sheet.
const fields = (spot) => [...spot.querySelectorAll("input")];

function mark(spot) {
  for (const dot of figure.querySelectorAll(".walk-here")) dot.remove();
  const [across, down] = fields(spot).map((field) => Number.parseFloat(field.value));
  if (!Number.isFinite(across) || !Number.isFinite(down)) return;
  for (const drawing of figure.querySelectorAll("svg.plan")) {
    const sheet = drawing.querySelector(".sheet");
    const dot = document.createElementNS(SVG, "circle");
    dot.setAttribute("class", "walk-here");
    dot.setAttribute("cx", (sheet.width.baseVal.value * across) / 100);
    dot.setAttribute("cy", (sheet.height.baseVal.value * down) / 100);
    dot.setAttribute("r", 9);
    drawing.append(dot);
  }
}

function open(details) {
  const spot = details.querySelector("[data-walk-spot]");
  spot.before(figure);
  mark(spot);
}

function tapped(event) {
  const drawing = event.target.closest("svg.plan");
  const spot = event.target.closest(".walk-spot")?.querySelector("[data-walk-spot]");
  if (!drawing || !spot) return;
  const sheet = drawing.querySelector(".sheet").getBoundingClientRect();
  const place = [(event.clientX - sheet.left) / sheet.width, (event.clientY - sheet.top) / sheet.height];
  if (place.some((part) => part < 0 || part > 1)) return;
  fields(spot).forEach((field, at) => (field.value = (100 * place[at]).toFixed(1)));
  mark(spot);
}

if (figure) {
  plan.hidden = true;
  figure.addEventListener("click", tapped);
  for (const details of document.querySelectorAll("details.walk-spot")) {
    details.addEventListener("toggle", () => details.open && open(details));
    details.addEventListener("input", (event) => event.target.closest("[data-walk-spot]") && mark(event.target.closest("[data-walk-spot]")));
    if (details.open) open(details);
  }
}
