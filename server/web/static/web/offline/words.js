// Words come from the server, in data attributes; here only numbers and days are put into them.
const DAY = 24 * 3600 * 1000;

export const filled = (text, values = {}) => text.replace(/\{(\w+)\}/g, (all, name) => values[name] ?? all);

// "1 round waiting" or "3 rounds waiting": both come from the server.
export const counted = (number, one, many) => (number === 1 ? one : filled(many, { n: number }));

export const daysSince = (moment, now = Date.now()) => Math.floor((now - moment) / DAY);

export const whenText = (moment, language) =>
  new Intl.DateTimeFormat(language, { dateStyle: "medium", timeStyle: "short" }).format(new Date(moment));

// The calendar day of a moment in a time zone, as 2026-06-01.
export const dayIn = (zone, moment) => {
  const parts = new Intl.DateTimeFormat("en", { timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit" })
    .formatToParts(new Date(moment));
  const [year, month, day] = ["year", "month", "day"].map((kind) => parts.find((part) => part.type === kind).value);
  return `${year}-${month}-${day}`;
};

// The first letters of at most three words, as server/web/holder.py has them.
export const initialsOf = (name) =>
  name.split(/\s+/).filter((word) => word).slice(0, 3).map((word) => [...word][0]).join("").toUpperCase();
