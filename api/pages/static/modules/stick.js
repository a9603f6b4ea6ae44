// Files dropped anywhere on the page go into the form and on their way; the list of what is here
// is brought up to date when the class is. Without this module files are chosen and sent.

const form = document.querySelector("form.stick");
const input = form?.querySelector("input[type=file]");

document.addEventListener("dragover", (event) => event.preventDefault());
document.addEventListener("drop", (event) => {
  event.preventDefault();
  if (!input || !event.dataTransfer?.files.length) return;
  input.files = event.dataTransfer.files;
  form.requestSubmit();
});

const held = document.querySelector("#held[data-progress]");
if (held) {
  const events = new EventSource(held.dataset.progress);
  events.addEventListener("state", async (event) => {
    const { state } = JSON.parse(event.data);
    if (state !== "done" && state !== "failed") return;
    events.close();
    const answer = await fetch(location.href);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    held.replaceWith(page.getElementById("held"));
  });
}
