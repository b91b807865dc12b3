// The last count of a place, told only after today's was entered, and whether today's is so far off that it is asked
// about once. Why four times and twenty apart stands in server/web/round_facts.py. It never changes a number.
import { amount, fill } from "./numbers.js";

const rateOf = (reading, per) => (per * reading.count * reading.part[1]) / reading.part[0] / reading.exposure;

// An "at least" is only known from below: it may be a rise on the last count, and never a fall, and the other way round.
export const isBigJump = (now, last, method, rule) => {
  if (!last || !(now.exposure > 0) || !(last.exposure > 0) || now.count === null) return false;
  const [rate, before] = [rateOf(now, method.per), rateOf(last, method.per)];
  if (Math.abs(rate - before) < rule.apart) return false;
  const rose = rate > rule.times * before && !last.at_least;
  const fell = rate * rule.times < before && !now.at_least;
  return rose || fell;
};

export const lastTold = (now, last) => (last.exposure === now.exposure ? last.told : last.told_days);

// What was typed, in words: 400; at least 400; 7.5 an animal.
export const nowTold = (now, method, facts) => {
  if (!method.hangs) return fill(facts.words.an_animal, { mean: amount(now.count / now.exposure, facts.numbers) });
  const count = amount(now.count, facts.numbers);
  return now.at_least ? fill(facts.words.at_least, { count }) : count;
};
