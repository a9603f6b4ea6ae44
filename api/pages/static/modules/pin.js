// A block's place on a recording, moved by hand: drag it in the picture, or by the slider with the
// keyboard; the field that is sent follows. Without this module the field is typed into.

/** @param {number} seconds @returns {string} minutes and seconds, as the field takes them */
function clockText(seconds) {
  const tenths = Math.round(Math.abs(seconds) * 10);
  const rest = tenths % 600;
  const sign = seconds < 0 && tenths ? "−" : "";
  const decimal = rest % 10 ? `.${rest % 10}` : "";
  return `${sign}${Math.floor(tenths / 600)}:${String(Math.floor(rest / 10)).padStart(2, "0")}${decimal}`;
}

/** @param {string} text @returns {number} seconds, NaN where it is no time */
function readClock(text) {
  const plain = text.trim().replace("−", "-").replace(",", ".");
  const parts = plain.replace("-", "").split(":").map(Number);
  const seconds = parts.reduce((sum, part) => sum * 60 + part, 0);
  return plain.startsWith("-") ? -seconds : seconds;
}

for (const field of /** @type {NodeListOf<HTMLInputElement>} */ (document.querySelectorAll("input[data-of]"))) {
  const picture = field.closest("section")?.parentElement?.querySelector(".plot[data-from]");
  const grips = [...document.querySelectorAll(".grip")];
  const grip = grips.find((one) => one.getAttribute("data-block") === field.dataset.of);
  if (!(picture instanceof HTMLElement) || !(grip instanceof SVGGElement) || !field.dataset.start) continue;
  const svg = /** @type {SVGSVGElement} */ (grip.ownerSVGElement);
  const slider = /** @type {HTMLInputElement} */ (field.form?.querySelector("input[type=range]"));
  const box = /** @type {HTMLDetailsElement} */ (field.closest("details"));
  const start = Number(field.dataset.start);
  const wide = Number(picture.dataset.to) - Number(picture.dataset.from);
  slider.min = String(Math.floor(start - wide / 2));
  slider.max = String(Math.ceil(start + wide / 2));
  slider.value = String(start);
  /** @type {HTMLElement} */ (slider.parentElement).hidden = false;

  /** @param {number} seconds where the block is to begin */
  const show = (seconds) => {
    const across = ((seconds - start) / wide) * svg.getBoundingClientRect().width;
    grip.setAttribute("transform", `translate(${across.toFixed(1)} 0)`);
    grip.classList.toggle("moved", seconds !== start);
    slider.setAttribute("aria-valuetext", clockText(seconds));
  };
  slider.addEventListener("input", () => {
    field.value = clockText(Number(slider.value));
    show(Number(slider.value));
  });
  field.addEventListener("input", () => {
    const seconds = readClock(field.value);
    if (Number.isNaN(seconds)) return;
    slider.value = String(seconds);
    show(seconds);
  });
  grip.addEventListener("pointerdown", (down) => {
    const before = readClock(field.value);
    grip.setPointerCapture(down.pointerId);
    box.open = true;
    /** @param {PointerEvent} move */
    const drag = (move) => {
      const moved = ((move.clientX - down.clientX) / svg.getBoundingClientRect().width) * wide;
      const seconds = Math.round((before + moved) * 2) / 2;
      field.value = clockText(seconds);
      slider.value = String(seconds);
      show(seconds);
    };
    grip.addEventListener("pointermove", drag);
    grip.addEventListener("lostpointercapture", () => grip.removeEventListener("pointermove", drag), { once: true });
  });
}
