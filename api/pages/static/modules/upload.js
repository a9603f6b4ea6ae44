// Shows what was chosen and what the rounds make, and how far sending is. Without it the form sends
// itself.

/** @param {string} text @returns {number} a number, or minutes and seconds; NaN where it is none */
function amount(text) {
  const parts = text.trim().replace(",", ".").split(":");
  return text.trim() ? parts.map(Number).reduce((sum, part) => sum * 60 + part, 0) : NaN;
}

/** @param {number} value @param {boolean} seconds @returns {string} as it would be typed */
function typed(value, seconds) {
  if (!seconds || value < 60) return String(Math.round(value * 100) / 100);
  return `${Math.floor(value / 60)}:${String(Math.round(value % 60)).padStart(2, "0")}`;
}

/** @type {Record<string, (values: number[]) => number>} */
const TAKES = {
  total: (values) => values.reduce((sum, value) => sum + value, 0),
  lowest: (values) => Math.min(...values),
  highest: (values) => Math.max(...values),
  mean: (values) => values.reduce((sum, value) => sum + value, 0) / values.length,
};

for (const block of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("fieldset[data-take]"))) {
  const output = block.querySelector("output.sum");
  const show = () => {
    const fields = [.../** @type {NodeListOf<HTMLInputElement>} */ (block.querySelectorAll(".rounds input"))];
    const all = fields.map((field) => amount(field.value)).filter((value) => !Number.isNaN(value));
    const values = block.dataset.take === "total" ? all : all.filter((value) => value > 0);
    if (output) output.textContent = values.length ? `: ${typed(TAKES[block.dataset.take ?? "total"](values), "seconds" in block.dataset)}` : "";
  };
  block.addEventListener("input", show);
  show();
}

const form = /** @type {HTMLFormElement | null} */ (document.querySelector("form[data-upload]"));
if (form) {
  const files = /** @type {HTMLInputElement} */ (form.elements.namedItem("files"));
  const list = form.querySelector(".chosen");
  const line = /** @type {HTMLElement} */ (form.querySelector(".how-far"));
  const bar = /** @type {HTMLProgressElement} */ (form.querySelector("progress"));
  const button = /** @type {HTMLButtonElement} */ (form.querySelector(".send button"));
  const consent = /** @type {HTMLInputElement | null} */ (form.querySelector("[data-consent]"));

  files.addEventListener("change", () => {
    const lines = [...(files.files ?? [])].map((file) => {
      const item = document.createElement("li");
      item.textContent = `${file.name}, ${Math.max(1, Math.round(file.size / 1000))} kB`;
      return item;
    });
    list?.replaceChildren(...lines);
    if (consent) consent.required = lines.length > 0;
  });

  /** @param {string} text @param {boolean} going */
  const tell = (text, going) => {
    line.hidden = !text;
    line.textContent = text;
    bar.hidden = !going;
    button.disabled = going;
  };

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const request = new XMLHttpRequest();
    request.open("POST", location.href);
    request.responseType = "document";
    request.upload.addEventListener("progress", (moved) => {
      if (!moved.lengthComputable) return;
      bar.value = moved.loaded / moved.total;
      tell(moved.loaded < moved.total ? `${form.dataset.sending}: ${Math.round(bar.value * 100)} %` : form.dataset.sent ?? "", true);
    });
    request.addEventListener("load", () => {
      if (request.status < 400 && request.responseURL) {
        location.assign(request.responseURL);
        return;
      }
      tell("", false);
      const answer = request.response?.querySelector("main");
      if (!answer) {
        tell(form.dataset.failed ?? "", false);
        return;
      }
      const said = answer.querySelector(".said");
      if (said && !answer.querySelector("[aria-invalid]")) {
        document.querySelector("main .said")?.remove();
        form.before(said);
        said.setAttribute("tabindex", "-1");
        said.focus();
        said.scrollIntoView();
      } else {
        document.querySelector("main")?.replaceWith(answer);
        answer.querySelector("[aria-invalid], h1")?.scrollIntoView();
      }
    });
    for (const trouble of ["error", "abort", "timeout"]) {
      request.addEventListener(trouble, () => tell(form.dataset.failed ?? "", false));
    }
    tell(`${form.dataset.sending}: 0 %`, true);
    request.send(new FormData(form));
  });
}
