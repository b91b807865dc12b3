// What a round says at its end, worked out from the page's facts alone, so that it needs no signal. The same rules as
// server/web/round_end.py and monitoring/selectors/results.py: a station's rate in 7 days (or an animal), the plain mean
// over the stations with a count, "more than" or "at least" the level exactly at the boundary, and the station that
// holds most. tests/journeys/test_round_rules.py holds the two together.

const HALF = 0.5;
const SAME = 1e-9;

// Fractions of whole numbers of any size: [over, under].
const whole = (number) => [BigInt(number), 1n];
const plus = (one, other) => [one[0] * other[1] + other[0] * one[1], one[1] * other[1]];
const times = (one, other) => [one[0] * other[0], one[1] * other[1]];
const upsideDown = (one) => [one[1], one[0]];
const compare = (one, other) => {
  const off = one[0] * other[1] - other[0] * one[1];
  return off > 0n ? 1 : off < 0n ? -1 : 0;
};
// "2.3" as twenty-three tenths.
const typed = (text) => {
  const [before, after = ""] = text.split(".");
  return [BigInt(before + after), 10n ** BigInt(after.length)];
};

// A station's readings pooled: counts and days add. Null where none has a count; missing is never zero.
const rateOf = (readings, per) => {
  const counted = readings.filter((each) => each.count !== null);
  if (!counted.length) return null;
  const caught = counted.map((each) => times(whole(each.count), upsideDown(each.part.map(BigInt)))).reduce(plus);
  const exposed = counted.reduce((sum, each) => sum + each.exposure, 0);
  const estimate = counted.reduce((sum, each) => sum + each.count / (each.part[0] / each.part[1]), 0);
  return {
    exact: times(whole(per), times(caught, [1n, BigInt(exposed)])),
    about: (per * estimate) / exposed,
    atLeast: counted.some((each) => each.at_least),
  };
};

const wordOf = (mean, level, comparison) => {
  if (!mean || level === undefined) return "none";
  const side = compare(mean, typed(level));
  if (side > 0 || (side === 0 && comparison === "at_least")) return "over";
  return compare(mean, times(typed(level), [2n, 3n])) >= 0 ? "near" : "below";
};

// The station that holds most: the first of the fewest that together hold more than half, if those are fewer than half.
const placeOf = (rows) => {
  const counted = rows.filter((row) => row.rate);
  const total = counted.reduce((sum, row) => sum + row.rate.about, 0);
  if (!(total > 0)) return null;
  const shares = counted.map((row) => ({ station: row.station, share: row.rate.about / total }));
  shares.sort((one, other) => other.share - one.share);
  let before = 0;
  let smallest = Infinity;
  for (const { share } of shares) {
    if (before <= HALF + SAME) smallest = Math.min(smallest, share);
    before += share;
  }
  const marked = shares.filter(({ share }) => share >= smallest - SAME);
  return marked.length && 2 * marked.length < shares.length ? shares[0].station : null;
};

const resultOf = (facts, building, method, rows) => {
  const { comparison } = facts.methods[method];
  const rates = rows.map((row) => row.rate).filter(Boolean);
  const sum = rates.length ? rates.map((rate) => rate.exact).reduce(plus) : null;
  const level = facts.levels[`${building}.${method}`];
  return {
    building,
    method,
    mean: rates.length ? rates.reduce((all, rate) => all + rate.about, 0) / rates.length : null,
    atLeast: rates.some((rate) => rate.atLeast),
    missing: rows.flatMap((row) => row.readings).filter((each) => each.count === null).length,
    level: level === undefined ? null : Number(level),
    word: wordOf(sum && times(sum, [1n, BigInt(rates.length)]), level, comparison),
    place: placeOf(rows),
  };
};

// One result a building and method, in walking order. `readings`: station, count or null, part as [over, under],
// at_least, exposure in days or animals.
export const resultsOf = (facts, readings) => {
  const groups = new Map();
  for (const station of facts.stations) {
    const own = readings.filter((each) => each.station === station.id);
    if (!own.length) continue;
    const key = `${station.building}.${station.method}`;
    if (!groups.has(key)) groups.set(key, { building: station.building, method: station.method, rows: [] });
    const rate = rateOf(own, facts.methods[station.method].per);
    groups.get(key).rows.push({ station, readings: own, rate });
  }
  return [...groups.values()].map(({ building, method, rows }) => resultOf(facts, building, method, rows));
};

// The result that is highest against its level; null where nothing was caught.
export const highestOf = (results) => {
  const against = (result) => (result.level === null ? 0 : result.mean / result.level);
  const caught = results.filter((result) => result.mean);
  return caught.reduce((top, each) => (top && against(top) >= against(each) ? top : each), null);
};
