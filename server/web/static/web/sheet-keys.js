// The sheet that is typed in, by keyboard alone: Enter or the down arrow goes to the next row in the same column.
// Without scripts Tab reaches every field.
const FIELDS = "input:not([type=hidden]), select";
const sheet = document.querySelector("table.sheet");
const end = sheet.closest("form").querySelector("button.button");

// Which columns of the table a cell covers: leg counts take several for their row of numbers.
const columnsOf = (cell) => {
  let first = 0;
  for (let before = cell.previousElementSibling; before; before = before.previousElementSibling) first += before.colSpan;
  return [first, first + cell.colSpan];
};

const fieldAt = (row, column, place) => {
  const cell = [...row.cells].find((each) => {
    const [first, after] = columnsOf(each);
    return first <= column && column < after;
  });
  const fields = cell ? [...cell.querySelectorAll(FIELDS)] : [];
  return fields[Math.min(place, fields.length - 1)];
};

// The same column, and the same one of two fields of a cell, in the next row that has it.
const next = (field, step) => {
  const cell = field.closest("td, th");
  const [column] = columnsOf(cell);
  const place = [...cell.querySelectorAll(FIELDS)].indexOf(field);
  const rows = [...sheet.rows];
  for (let at = rows.indexOf(cell.parentElement) + step; rows[at]; at += step) {
    const found = fieldAt(rows[at], column, place);
    if (found) return found;
  }
  return step > 0 ? end : null;
};

sheet.addEventListener("keydown", (event) => {
  const field = event.target;
  if (!field.matches(FIELDS) || event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
  // A list's own arrows choose from it.
  const arrows = field.matches("select") ? {} : { ArrowDown: 1, ArrowUp: -1 };
  const step = { Enter: event.shiftKey ? -1 : 1, ...arrows }[event.key];
  if (!step) return;
  // Enter would send the sheet half typed.
  event.preventDefault();
  const to = next(field, step);
  if (!to) return;
  to.focus();
  if (to.matches("input[type=text]")) to.select();
});

document.getElementById("sheet-keys").hidden = false;
