// Steps back through what was entered: a station's fields as they stood before each change, the newest last.
// What somebody enters: ids in hidden fields are not theirs to take back.
const fieldsOf = (place) =>
  [...place.querySelectorAll("input[name], select[name], textarea[name]")].filter(
    (each) => !["file", "hidden"].includes(each.type),
  );
const stateOf = (place) =>
  fieldsOf(place).map((each) => (["checkbox", "radio"].includes(each.type) ? each.checked : each.value));
const differ = (one, other) => one.length !== other.length || one.some((each, row) => each !== other[row]);

export const undoOf = (places) => {
  const seen = new Map();
  const steps = [];
  const look = () => places.forEach((place) => seen.set(place, stateOf(place)));
  look();
  return {
    get any() {
      return steps.length > 0;
    },
    // Keeps what stood there before, where something changed since.
    note(place) {
      const now = stateOf(place);
      if (!differ(now, seen.get(place))) return;
      steps.push([place, seen.get(place)]);
      seen.set(place, now);
    },
    // Puts the newest change back and gives its station; undefined where there is none.
    back() {
      const [place, before] = steps.pop() ?? [];
      if (!place) return undefined;
      const now = stateOf(place);
      const changed = fieldsOf(place).filter((each, row) => now[row] !== before[row]);
      fieldsOf(place).forEach((each, row) => {
        each[["checkbox", "radio"].includes(each.type) ? "checked" : "value"] = before[row];
      });
      seen.set(place, before);
      // Whoever else follows the fields (a draft, the running verdict) hears of it when all of them stand.
      for (const each of changed) {
        for (const kind of ["input", "change"]) each.dispatchEvent(new Event(kind, { bubbles: true }));
      }
      return place;
    },
    // The fields were filled from elsewhere: nothing before that can be taken back.
    forget() {
      steps.length = 0;
      look();
    },
  };
};
