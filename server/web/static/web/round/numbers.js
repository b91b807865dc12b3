// Numbers as the pages write them. Held to alerts/wording/numbers.py by tests/journeys/test_round_rules.py.

// Rounded half to even by the number's exact value, as Python does: 12.5 is told as 12, and 2.45 (a little more) as 2.5.
export const rounded = (value, digits) => {
  const told = value.toFixed(digits);
  // Only halves, quarters and so on can lie exactly in the middle; toFixed goes up there.
  const tie = Math.abs(value * 2 ** (digits + 1)) % 2 === 1;
  return tie && Number(told.at(-1)) % 2 === 1 ? (Number(told) - 10 ** -digits).toFixed(digits) : told;
};

// Whole from ten up, else one decimal; more where it would look like the level that it is told beside.
export const digitsOf = (value, beside = null) => {
  let digits = value >= 10 || Number.isInteger(value) ? 0 : 1;
  while (beside !== null && digits < 3 && value !== beside && Number(rounded(value, digits)) === beside) digits += 1;
  return digits;
};

// With the page's own marks for decimals and thousands, which come from the server.
export const amount = (value, marks, beside = null) => {
  const [whole, rest] = rounded(value, digitsOf(value, beside)).split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, marks.group);
  return rest ? grouped + marks.decimal + rest : grouped;
};

// Fills {name} and %(name)s.
export const fill = (text, values) =>
  text.replace(/\{(\w+)\}|%\((\w+)\)s/g, (all, one, other) => String(values[one ?? other] ?? all));

// The form of a sentence for a number, of two.
export const forNumber = (forms, number) => fill(forms[number === 1 ? 0 : 1], { number });
