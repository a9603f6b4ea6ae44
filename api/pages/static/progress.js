// Follows the work on a class and opens the result when it is there. Without it there is a link.
const line = document.querySelector("[data-progress]");
if (line) {
  const words = { waiting: "Waiting to be worked out.", working: "Being worked out" };
  const events = new EventSource(line.dataset.progress);
  events.addEventListener("state", (event) => {
    const state = JSON.parse(event.data);
    if (state.state === "done" || state.state === "failed") {
      events.close();
      location.reload();
      return;
    }
    const share = state.total ? ` (${state.done} of ${state.total})` : "";
    const stage = state.stage ? `: ${state.stage}${share}.` : "";
    line.textContent = (words[state.state] ?? "") + stage;
  });
}
