// Steps back through what was entered: a station's fields as they stood before each change, the newest last.
// What somebody enters: ids in hidden fields are not theirs to take back.
const fieldsOf = (place) =>
  [...place.querySelectorAll("input[name], select[name], textarea[name]")].filter(
    (each) => !["file", "hidden"].includes(each.type),
  );
const isTicked = (each) => ["checkbox", "radio"].includes(each.type);
// By field, wherever it stands: a station's fields change places when its step is first shown.
const stateOf = (place) => new Map(fieldsOf(place).map((each) => [each, isTicked(each) ? each.checked : each.value]));
const differ = (one, other) => one.size !== other.size || [...one].some(([each, state]) => state !== other.get(each));

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
      const changed = [...stateOf(place)].filter(([each, state]) => state !== before.get(each)).map(([each]) => each);
      for (const [each, state] of before) each[isTicked(each) ? "checked" : "value"] = state;
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
