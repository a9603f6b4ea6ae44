// The grid of scores by keyboard: Enter and the arrows move from cell to cell, several cells paste
// from a spreadsheet where the first of them belongs. Without this module Tab does the moving.

/** @typedef {HTMLInputElement} Cell */

const form = document.querySelector("form.board");
const status = form?.querySelector("[role=status]");

/** The cells of a grid, row by row. @param {Element} table @returns {Cell[][]} */
const cellsOf = (table) =>
  [...table.querySelectorAll("tbody tr")].map((row) => [...row.querySelectorAll("td input")]);

/** Where a cell stands. @param {Cell} cell */
function place(cell) {
  const cells = cellsOf(cell.closest("table"));
  const row = cells.findIndex((line) => line.includes(cell));
  return { cells, row, column: cells[row].indexOf(cell) };
}

/** Go to a cell some rows and columns away, if there is one. @returns {boolean} */
function go(cell, down, right) {
  const { cells, row, column } = place(cell);
  const next = cells[row + down]?.[column + right];
  next?.focus();
  next?.select();
  return Boolean(next);
}

/** Whether the caret has nothing before it (or after it), or the whole cell is marked. */
function atEdge(cell, after) {
  const { selectionStart: start, selectionEnd: end, value } = cell;
  if (start === 0 && end === value.length) return true;
  return start === end && start === (after ? value.length : 0);
}

form?.addEventListener("keydown", (event) => {
  const cell = event.target;
  if (!cell.matches("td input") || event.ctrlKey || event.metaKey || event.altKey) return;
  const listed = cell.list !== null && (event.key === "ArrowUp" || event.key === "ArrowDown");
  const moves = {
    Enter: () => go(cell, event.shiftKey ? -1 : 1, 0) || true,
    ArrowDown: () => !listed && go(cell, 1, 0),
    ArrowUp: () => !listed && go(cell, -1, 0),
    ArrowLeft: () => atEdge(cell, false) && go(cell, 0, -1),
    ArrowRight: () => atEdge(cell, true) && go(cell, 0, 1),
  };
  if (moves[event.key]?.()) event.preventDefault();
});

form?.addEventListener("paste", (event) => {
  const cell = event.target;
  const text = event.clipboardData?.getData("text/plain") ?? "";
  if (!cell.matches("td input") || !/[\t\n]/.test(text.trimEnd())) return;
  event.preventDefault();
  const { cells, row, column } = place(cell);
  let pasted = 0;
  text.replace(/\r?\n$/, "").split(/\r?\n/).forEach((line, down) =>
    line.split("\t").forEach((value, right) => {
      const target = cells[row + down]?.[column + right];
      if (!target) return;
      target.value = value.trim();
      pasted += 1;
    }),
  );
  if (status) status.textContent = `${status.dataset.pasted} ${pasted}`;
});
