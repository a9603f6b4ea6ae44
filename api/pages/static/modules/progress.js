// Follows the work on a class and opens the result when it is there, unless whoever reads the page
// is on the way to another one or fills in a field. Without it there is a link.

/** Resolves once the page stands: a page that is left while it loads is never seen to open. */
const opened = new Promise((resolve) => {
  if (document.readyState === "complete") resolve(undefined);
  else addEventListener("load", resolve, { once: true });
});

// A file that is saved begins like a page that is left; after this long the page is still here.
const LEAVING_MS = 10_000;
let left = -LEAVING_MS;
addEventListener("beforeunload", () => {
  left = performance.now();
});

/** Whether opening the result now would take a way or words from somebody. @returns {boolean} */
const inUse = () =>
  performance.now() < left + LEAVING_MS ||
  Boolean(document.activeElement?.matches("input, select, textarea"));

/** Opens the result as soon as the page is free. */
function open() {
  if (inUse()) setTimeout(open, 500);
  else location.reload();
}

const line = /** @type {HTMLElement | null} */ (document.querySelector("[data-progress]"));
if (line) {
  const events = new EventSource(line.dataset.progress ?? "");
  events.addEventListener("state", (event) => {
    const { state, done, total } = JSON.parse(event.data);
    if (state === "done" || state === "failed") {
      events.close();
      if (inUse()) line.textContent = line.dataset.done ?? "";
      opened.then(open);
      return;
    }
    const words = line.dataset[state] ?? "";
    line.textContent = total ? `${words} ${done} / ${total}` : words;
  });
}
