// By which totals a leg count is enough: as monitoring/analysis/leg_verdict.py has it, from the plan that comes with the
// page.

// The first total on a line decides, and is not taken back; later animals can only make it unclear.
export const judged = (flies, plan) => {
  let total = 0;
  let side = 0;
  flies.forEach((each, place) => {
    total += each;
    const row = plan.rows[place + 1 - plan.fewest];
    if (side || !row) return;
    if (row[0] !== null && total <= row[0]) side = -1;
    else if (total >= row[1]) side = 1;
  });
  // Ten times 2.3 is 23, whatever floats make of it.
  const over = total >= Math.ceil(Math.round(plan.level * flies.length * 1e6) / 1e6);
  if (side < 0 && !over) return "enough_below";
  if (side > 0 && over) return "enough_over";
  return side || flies.length >= plan.fewest + plan.rows.length - 1 ? "not_clear" : "count_on";
};
