// Draws the plan as it is typed, numbers its lines, and leads from a mistake to its line.
// Without it the page has a button that draws.
const form = document.querySelector("#editor");
const text = form.querySelector("textarea");
const gutter = form.querySelector(".gutter");
const drawing = document.querySelector("#drawing");
const said = document.querySelector("#drawing-said");
const PAUSE_MS = 350;

let waiting = 0;
let asked = 0;

/** Lines that need a look, from the list of mistakes. @returns {Set<number>} */
function wrongLines() {
  return new Set([...drawing.querySelectorAll("[data-line]")].map((link) => Number(link.dataset.line)));
}

/** Numbers the lines; those that need a look stand out. */
function number() {
  const wrong = wrongLines();
  const lines = text.value.split("\n").map((_, index) => {
    const line = document.createElement(wrong.has(index + 1) ? "b" : "span");
    line.textContent = wrong.has(index + 1) ? `!${index + 1}` : `${index + 1}`;
    return line;
  });
  gutter.replaceChildren(...lines.flatMap((line) => [line, "\n"]));
  gutter.scrollTop = text.scrollTop;
  text.toggleAttribute("aria-invalid", wrong.size > 0);
  if (wrong.size) text.setAttribute("aria-invalid", "true");
}

/** Shows an answer; the drawing from before stays where the text cannot be drawn now. @param {string} html */
function show(html) {
  const answer = document.createElement("template");
  answer.innerHTML = html;
  const drawn = answer.content.querySelector(".drawn-part");
  const before = drawing.querySelector(".drawn-part");
  if (!drawn.firstElementChild && before.firstElementChild) {
    drawn.replaceWith(before);
    answer.content.querySelector(".before").hidden = false;
  }
  drawing.replaceChildren(answer.content);
}

/** Asks the service for the drawing of what stands there now. */
async function draw() {
  const turn = ++asked;
  try {
    const answer = await fetch(form.dataset.drawing, {
      method: "POST",
      body: new URLSearchParams({ text: text.value }),
    });
    if (!answer.ok || turn !== asked) return;
    show(await answer.text());
    const heading = drawing.querySelector(".said h3");
    said.textContent = heading
      ? said.dataset.faults.replace("{what}", heading.textContent)
      : said.dataset.fine;
    number();
  } catch {
    said.textContent = said.dataset.offline;
  }
}

/** Puts the cursor on a line of the text. @param {number} line @param {number} column */
function goTo(line, column) {
  const before = text.value.split("\n").slice(0, line - 1);
  const start = before.reduce((sum, each) => sum + each.length + 1, 0);
  const end = text.value.indexOf("\n", start);
  text.focus();
  text.setSelectionRange(start + column - 1, end < 0 ? text.value.length : end);
  const height = text.scrollHeight / (text.value.split("\n").length + 1);
  text.scrollTop = Math.max(0, (line - 4) * height);
}

text.addEventListener("input", () => {
  number();
  clearTimeout(waiting);
  waiting = setTimeout(draw, PAUSE_MS);
});
text.addEventListener("scroll", () => {
  gutter.scrollTop = text.scrollTop;
});
text.addEventListener("keydown", (event) => {
  // A new line begins as far in as the one before; everything else is the browser's.
  if (event.key !== "Enter" || event.shiftKey || event.ctrlKey || event.altKey || event.isComposing) return;
  const line = text.value.slice(0, text.selectionStart).split("\n").pop();
  const indent = /^ */.exec(line)[0];
  if (indent && document.execCommand("insertText", false, `\n${indent}`)) event.preventDefault();
});
drawing.addEventListener("click", (event) => {
  const link = event.target.closest("[data-line]");
  if (!link) return;
  event.preventDefault();
  goTo(Number(link.dataset.line), Number(link.dataset.column));
});
gutter.classList.add("on");
number();
