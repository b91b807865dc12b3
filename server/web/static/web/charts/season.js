// A farm's seasons on a canvas, for who wants to look closer: moves over weeks by pointer or keyboard. The picture that
// the server drew stays in the page, for who has no script and for paper. Every word comes from the server.

const language = document.documentElement.lang || "en";
const DAY = 86400;
const WEEK = 7 * DAY;
const SPANS = { 1: 0, 2: 1, 5: 4 }; // years before this season's first week

let library; // loaded once, when somebody looks closer

function loaded(address) {
  library ??= new Promise((done, failed) => {
    const script = document.createElement("script");
    script.src = address;
    script.addEventListener("load", done);
    script.addEventListener("error", failed);
    document.head.append(script);
  });
  return library;
}

function styled(address) {
  if (document.querySelector(`link[href="${address}"]`)) return;
  const link = document.createElement("link");
  link.rel = "stylesheet";
  link.href = address;
  document.head.append(link);
}

function filled(words, values) {
  return words.replace(/\{(\w+)\}/g, (_whole, name) => values[name] ?? "");
}

function amount(value) {
  const digits = value >= 10 || Number.isInteger(value) ? 0 : 1;
  return new Intl.NumberFormat(language, { maximumFractionDigits: digits, minimumFractionDigits: digits }).format(value);
}

const dayOf = (seconds, form) => new Intl.DateTimeFormat(language, { timeZone: "UTC", ...form }).format(seconds * 1000);
const longDay = (seconds) => dayOf(seconds, { month: "long", day: "numeric", year: "numeric" });
const token = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

// The columns as the library takes them: seconds, and one row a line. Weeks to come have no mean, counted ones no fan.
function columnsOf(data) {
  const n = data.mean.length;
  const ahead = data.ahead;
  const first = Date.parse(`${data.first}T00:00:00Z`) / 1000;
  const nothing = (count) => new Array(count).fill(null);
  const fan = (place) => [...nothing(n), ...ahead.map((week) => week[place])];
  const middle = fan(2);
  if (ahead.length && n) middle[n - 1] = data.mean[n - 1];
  const after = nothing(ahead.length);
  return [
    Array.from({ length: n + ahead.length }, (_each, at) => first + at * WEEK),
    [...data.high, ...after],
    [...data.low, ...after],
    [...data.mean, ...after],
    [...data.level, ...ahead.map(() => data.level.at(-1) ?? null)],
    fan(4),
    fan(0),
    fan(3),
    fan(1),
    middle,
  ];
}

class Closer {
  constructor(box) {
    this.box = box;
    this.words = box.dataset;
    this.data = JSON.parse(document.getElementById(box.dataset.season).textContent);
    this.columns = columnsOf(this.data);
    this.picture = document.querySelector(`[data-season-picture="${box.dataset.picture}"]`);
    this.button = box.querySelector("button");
    this.open = this.button.textContent;
    this.panel = box.querySelector(".closer-chart");
    this.canvas = box.querySelector(".closer-canvas");
    this.slider = box.querySelector('input[type="range"]');
    this.told = box.querySelector(".closer-told");
    this.span = 1;
    this.log = false;
    this.chosen = Math.max(0, this.data.mean.findLastIndex((value) => value !== null));
    box.hidden = false;
    this.button.addEventListener("click", () => this.toggle());
    this.panel.addEventListener("change", (event) => this.change(event.target));
    this.slider.addEventListener("input", () => this.choose(Number(this.slider.value)));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.chart && this.draw());
    new ResizeObserver(() => this.fit()).observe(this.canvas);
  }

  async toggle() {
    if (this.chart) return this.close();
    styled(this.words.stylesheet);
    try {
      await loaded(this.words.library);
    } catch {
      this.box.hidden = true; // the picture is still there
      return undefined;
    }
    this.panel.hidden = false;
    this.draw();
    this.picture.hidden = true;
    this.button.textContent = this.words.back;
    this.button.setAttribute("aria-expanded", "true");
    return undefined;
  }

  close() {
    this.chart.destroy();
    this.chart = null;
    this.panel.hidden = true;
    this.picture.hidden = false;
    this.button.textContent = this.open;
    this.button.setAttribute("aria-expanded", "false");
  }

  change(field) {
    if (field === this.slider) return;
    if (field.name === "log") this.log = field.checked;
    else this.span = Number(field.value);
    this.draw();
  }

  get from() {
    const season = new Date(`${this.data.season}T00:00:00Z`);
    season.setUTCFullYear(season.getUTCFullYear() - SPANS[this.span]);
    const index = Math.ceil((season / 1000 - this.columns[0][0]) / WEEK);
    return Math.max(0, Math.min(index, this.columns[0].length - 1));
  }

  draw() {
    this.chart?.destroy();
    this.canvas.setAttribute("aria-label", this.words.chart);
    const shown = this.columns.map((column) => column.slice(this.from));
    this.chart = new window.uPlot(this.options(), this.log ? shown.map(aboveZero) : shown, this.canvas);
    this.slider.min = this.from;
    this.slider.max = this.columns[0].length - 1;
    this.choose(Math.max(this.from, Math.min(this.chosen, this.columns[0].length - 1)));
  }

  fit() {
    if (this.chart) this.chart.setSize({ width: this.canvas.clientWidth, height: this.height });
  }

  get height() {
    return Math.max(220, Math.min(340, Math.round(this.canvas.clientWidth * 0.45)));
  }

  options() {
    const [ink, soft, hair, band] = ["--ink", "--soft", "--hair", "--band"].map(token);
    const font = `14px ${token("--sans")}`;
    const unseen = { stroke: "transparent", width: 0, points: { show: false } };
    const axis = { stroke: soft, font, grid: { stroke: hair, width: 1 }, ticks: { stroke: hair, width: 1 } };
    return {
      width: this.canvas.clientWidth,
      height: this.height,
      legend: { show: false },
      cursor: { drag: { x: false, y: false }, points: { show: false } },
      scales: { x: { time: true }, y: this.log ? { distr: 3 } : { range: (_u, _low, high) => [0, (high || 1) * 1.08] } },
      axes: [
        { ...axis, values: (_u, splits) => splits.map((at) => this.dateOf(at)), space: 70 },
        { ...axis, size: 56, values: (_u, splits) => splits.map((at) => (at === null ? "" : amount(at))) },
      ],
      series: [
        {},
        unseen,
        unseen,
        { stroke: ink, width: 1.6, points: { show: true, size: 5, fill: ink } },
        { stroke: ink, width: 1, dash: [7, 3], points: { show: false } },
        unseen,
        unseen,
        unseen,
        unseen,
        { stroke: ink, width: 1.4, dash: [4, 3], points: { show: false } },
      ],
      bands: [
        { series: [1, 2], fill: band },
        { series: [5, 6], fill: hair },
        { series: [7, 8], fill: band },
      ],
      hooks: { draw: [(chart) => this.marks(chart)], setCursor: [(chart) => this.follow(chart)] },
    };
  }

  dateOf(seconds) {
    const years = { month: "short", year: "numeric" };
    return dayOf(seconds, this.span > 1 ? years : { month: "short", day: "numeric" });
  }

  // Letters of the work above the weeks, triangles where matters began, the action level's name, and the week chosen.
  marks(chart) {
    const pen = chart.ctx;
    const { left, top, height } = chart.bbox;
    const scale = devicePixelRatio;
    const place = (index) => chart.valToPos(this.columns[0][index], "x", true);
    pen.save();
    pen.font = `600 ${14 * scale}px ${token("--sans")}`;
    pen.fillStyle = token("--ink");
    pen.textAlign = "center";
    for (const [index, letter] of this.data.work) if (index >= this.from) pen.fillText(letter, place(index), top + 12 * scale);
    // A programme: its letter at the first week that is shown, and a bar to its last one.
    for (const [first, last, letter] of this.data.bands) {
      const until = Math.min(last, this.data.mean.length - 1);
      if (until < this.from || first > until) continue;
      const begins = place(Math.max(first, this.from));
      pen.fillText(letter, begins, top + 12 * scale);
      pen.fillRect(begins, top + 16 * scale, Math.max(4 * scale, place(until) - begins), 4 * scale);
    }
    for (const [index] of this.data.began) {
      if (index < this.from) continue;
      const x = place(index);
      pen.beginPath();
      pen.moveTo(x - 4 * scale, top + height);
      pen.lineTo(x + 4 * scale, top + height);
      pen.lineTo(x, top + height - 8 * scale);
      pen.fill();
    }
    const level = this.data.level.findLast((value) => value !== null);
    if (level !== undefined) {
      pen.font = `${14 * scale}px ${token("--sans")}`;
      pen.textAlign = "left";
      pen.lineWidth = 4 * scale;
      pen.strokeStyle = token("--paper");
      const words = `${this.words.level} ${amount(level)}`;
      const y = chart.valToPos(level, "y", true) - 5 * scale;
      pen.strokeText(words, left + 4 * scale, y);
      pen.fillText(words, left + 4 * scale, y);
    }
    pen.strokeStyle = token("--ink");
    pen.setLineDash([]);
    pen.lineWidth = scale;
    pen.beginPath();
    pen.moveTo(Math.round(place(this.chosen)), top);
    pen.lineTo(Math.round(place(this.chosen)), top + height);
    pen.stroke();
    pen.restore();
  }

  follow(chart) {
    const at = chart.cursor.idx;
    if (at === null || at === undefined || chart.cursor.left < 0 || at + this.from === this.chosen) return;
    this.choose(at + this.from);
  }

  choose(index) {
    this.chosen = index;
    this.slider.value = index;
    const told = this.tell(index);
    this.slider.setAttribute("aria-valuetext", told[0]);
    this.told.textContent = `${told.join("; ")}.`;
    this.chart?.redraw(false);
  }

  tell(index) {
    const { words, data } = this;
    const week = longDay(this.columns[0][index]);
    const told = [filled(words.week, { week })];
    const ahead = data.ahead[index - data.mean.length];
    if (ahead) {
      const [low, innerLow, median, innerHigh, high] = ahead.map(amount);
      return [...told, filled(words.ahead, { low, innerLow, median, innerHigh, high })];
    }
    const mean = data.mean[index];
    if (mean === null) told.push(words.missing);
    else {
      const form = data.atLeast.includes(index) ? words.atLeast : words.mean;
      told.push(filled(form, { mean: amount(mean), unit: words.unit }));
      if (data.low[index] !== null) {
        told.push(filled(words.range, { low: amount(data.low[index]), high: amount(data.high[index]) }));
      }
      told.push(filled(words.counted, { devices: data.devices[index] }));
    }
    if (data.level[index] !== null) told.push(filled(words.levels, { level: amount(data.level[index]) }));
    const of = (rows) => rows.filter(([at]) => at === index).map((row) => row.at(-1)).join(", ");
    const bands = data.bands.filter(([first, last]) => first <= index && index <= last).map((row) => row.at(-1));
    const work = [of(data.work), ...bands].filter(Boolean).join(", ");
    if (work) told.push(filled(words.work, { work }));
    if (of(data.began)) told.push(filled(words.began, { began: of(data.began) }));
    return told;
  }
}

// On a scale of equal steps for equal ratios there is no zero: what is zero stands at a tenth.
function aboveZero(column, number) {
  return number === 0 ? column : column.map((value) => (value === null ? null : Math.max(value, 0.1)));
}

// On paper every table and explanation is there: what is folded up opens for the printer, and closes after it.
let unfolded = [];
addEventListener("beforeprint", () => {
  unfolded = [...document.querySelectorAll("main details:not([open])")];
  for (const each of unfolded) each.open = true;
});
addEventListener("afterprint", () => {
  for (const each of unfolded) each.open = false;
});

for (const box of document.querySelectorAll("[data-season]")) new Closer(box);
