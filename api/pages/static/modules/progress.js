// Follows the work on a class and opens the result when it is there. Without it there is a link.

/** Resolves once the page stands: a page that is left while it loads is never seen to open. */
const opened = new Promise((resolve) => {
  if (document.readyState === "complete") resolve(undefined);
  else addEventListener("load", resolve, { once: true });
});
const line = /** @type {HTMLElement | null} */ (document.querySelector("[data-progress]"));
if (line) {
  const events = new EventSource(line.dataset.progress ?? "");
  events.addEventListener("state", (event) => {
    const { state, done, total } = JSON.parse(event.data);
    if (state === "done" || state === "failed") {
      events.close();
      opened.then(() => location.reload());
      return;
    }
    const words = line.dataset[state] ?? "";
    line.textContent = total ? `${words} ${done} / ${total}` : words;
  });
}
