// Draws the clock: the block's strip with one bar being used up, whole seconds, what to do now and
// next, in words.

import { lengthMs, placeIn } from "./clock_course.js";

const SVG = "http://www.w3.org/2000/svg";
const part = (name) => document.querySelector(`#face-${name}`);
const words = Object.fromEntries(
  [...document.querySelectorAll("[data-word]")].map((item) => [item.dataset.word, item.textContent]),
);

/** A sentence of the page with its `{name}` places filled. @param {string} key @param {Object<string, string | number>} values */
export function say(key, values = {}) {
  return words[key].replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
}

/** Minutes and seconds, as on a clock on the wall. @param {number} seconds */
export function reading(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  const minutes = String(Math.floor(whole / 60) % 60);
  const rest = String(whole % 60).padStart(2, "0");
  const hours = Math.floor(whole / 3600);
  return hours ? `${hours}:${minutes.padStart(2, "0")}:${rest}` : `${minutes}:${rest}`;
}

/** Changes a text only where it is another one. */
function write(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

export class Face {
  constructor() {
    this.strip = null; // of which block, and its two moving parts
    this.shown = ""; // which step's tasks stand there
  }

  /** @param {import("./clock_course.js").Block[]} blocks */
  ready(blocks) {
    write(part("block"), say("ready"));
    write(part("round"), "");
    write(part("digits"), reading(blocks[0].free ? 0 : lengthMs(blocks[0]) / 1000));
    write(part("kind"), "");
    this.drawStrip(blocks[0], null);
    this.drawTasks(blocks[0], 0);
    this.tell(say("next-block", { block: blocks[0].name, words: blocks[0].words }), "");
  }

  /** The end. */
  done() {
    write(part("block"), say("done"));
    for (const name of ["round", "digits", "kind", "first", "next"]) write(part(name), "");
    part("strip").replaceChildren();
    part("tasks").replaceChildren();
    this.strip = null;
    this.shown = "";
  }

  /**
   * @param {import("./clock_course.js").Block[]} blocks
   * @param {import("./clock_course.js").Course} course as it is now
   * @param {number} now
   * @param {boolean} smooth whether the bar may move between whole seconds
   */
  draw(blocks, course, now, smooth) {
    const block = blocks[course.block];
    const elapsedMs = (course.heldAt ?? now) - course.begun;
    const isHeld = course.heldAt !== null;
    if (block.free) return this.drawFree(blocks, course.block, elapsedMs);
    if (elapsedMs < 0) return this.drawCountIn(blocks, course.block, elapsedMs);
    const place = placeIn(block, elapsedMs);
    const step = block.steps[place.step];
    const left = Math.ceil(place.until - elapsedMs / 1000);
    write(part("block"), block.name);
    write(part("round"), block.rounds > 1 ? say("round", { number: place.round + 1, count: block.rounds }) : "");
    write(part("digits"), reading(left));
    write(part("kind"), say(step.kind) + (isHeld ? `, ${say("held")}` : ""));
    const second = smooth ? elapsedMs / 1000 : place.until - left;
    this.drawStrip(block, { ...place, second, total: lengthMs(block) / 1000 });
    const next = this.following(block, place);
    const words = next ? say("next", { what: next.words }) : this.afterwards(blocks, course.block);
    const working = step.kind === "work";
    this.drawTasks(block, working || !next ? place.step : next.step);
    if (working) this.tell("", words);
    else this.tell(words, "");
  }

  /** What comes next: above the tasks where they are the next ones, below them otherwise. */
  tell(first, next) {
    write(part("first"), first);
    write(part("next"), next);
  }

  /** What comes after a step in its block. */
  following(block, place) {
    const last = place.step === block.steps.length - 1;
    if (last && place.round === block.rounds - 1) return null;
    const step = last ? 0 : place.step + 1;
    const { kind, seconds } = block.steps[step];
    const now = block.steps[place.step].kind;
    const further = kind !== "work" ? "" : block.rotate ? say("one-on") : now === "work" ? this.oneLine(block, step) : "";
    return { step, words: `${say(kind)} ${reading(seconds)}${further ? `: ${further}` : ""}` };
  }

  /** What comes after a block. */
  afterwards(blocks, number) {
    const next = blocks[number + 1];
    return next ? say("next-block", { block: next.name, words: next.words }) : say("last");
  }

  drawFree(blocks, number, elapsedMs) {
    const next = blocks[number + 1];
    write(part("block"), blocks[number].name);
    write(part("round"), "");
    write(part("digits"), reading(Math.floor(elapsedMs / 1000)));
    write(part("kind"), blocks[number].words);
    this.drawStrip(next ?? blocks[number], null);
    if (next) this.drawTasks(next, 0);
    this.tell(this.afterwards(blocks, number), "");
  }

  drawCountIn(blocks, number, elapsedMs) {
    write(part("block"), say("begins", { block: blocks[number].name }));
    write(part("round"), "");
    write(part("digits"), reading(Math.ceil(-elapsedMs / 1000)));
    write(part("kind"), "");
    this.drawStrip(blocks[number], null);
    this.drawTasks(blocks[number], 0);
    this.tell("", "");
  }

  /** The strip; with a place, what has gone by is pale and the step that runs is being used up. */
  drawStrip(block, place) {
    if (this.strip?.block !== block) {
      const copy = block.strip?.cloneNode(true);
      part("strip").replaceChildren(...(copy ? [copy] : []));
      this.strip = { block, copy, past: null, bar: null };
      if (copy) {
        for (const node of copy.querySelectorAll("title, desc")) node.removeAttribute("id");
        copy.removeAttribute("aria-labelledby");
        copy.setAttribute("aria-hidden", "true");
        const bells = copy.querySelector(".bell");
        for (const name of ["past", "bar"]) {
          const shape = document.createElementNS(SVG, "rect");
          shape.setAttribute("class", name);
          shape.setAttribute("y", "16%");
          shape.setAttribute("height", "68%");
          copy.insertBefore(shape, bells);
          this.strip[name] = shape;
        }
      }
    }
    const { past, bar } = this.strip;
    if (!past) return;
    const share = (seconds) => `${Math.max(0, (100 * seconds) / place.total).toFixed(3)}%`;
    past.setAttribute("width", place ? share(place.second) : "0");
    bar.setAttribute("x", place ? share(place.second) : "0");
    bar.setAttribute("width", place ? share(place.until - place.second) : "0");
  }

  /** What a step asks for, with what options do. */
  drawTasks(block, step) {
    const key = block.rotate ? block.name : `${block.name} ${step}`;
    if (this.shown === key) return;
    this.shown = key;
    const work = block.rotate ? block.steps : [block.steps[step]];
    const stations = work.filter((each) => each?.kind === "work" && each.what).map(({ what }) => {
      const station = document.createElement(block.rotate ? "li" : "div");
      station.append(...what.cloneNode(true).childNodes);
      return station;
    });
    const list = document.createElement(block.rotate ? "ol" : "div");
    list.append(...stations);
    part("tasks").replaceChildren(list);
  }

  /** The first line of each task of a step. */
  oneLine(block, step) {
    const items = [...(block.steps[step].what?.querySelectorAll("li") ?? [])];
    return items.map((item) => item.firstChild.textContent.trim()).join("; ");
  }
}
