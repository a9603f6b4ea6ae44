// The clock for the gym's screen: reads the plan from the page, runs it, keeps itself over a reload,
// and records when each block began. Everything it needs is in memory once it is open.

import { begin, followed, held, joined, onward, placeIn, wentOn } from "./clock_course.js";
import { Face, reading, say } from "./clock_face.js";
import { StartRecord } from "./clock_record.js";
import { allowSound, beep } from "./clock_sound.js";
import { Time } from "./clock_time.js";

const KEPT_PAGES = "clock";
const ANOTHER_DAY_MS = 12 * 3600 * 1000;
const STEPS_BACK = 30;

const face = document.querySelector("#face");
const at = (id) => document.getElementById(id);
const store = storage();
const key = `clock ${face.dataset.class}`;
const blocks = [...document.querySelectorAll("section.block")].map(readBlock);
const time = new Time(store);
const calm = matchMedia("(prefers-reduced-motion: reduce)");
const drawn = new Face();

/** The starts that the class had when the page was made, by block. @type {Object<string, number>} */
const found = JSON.parse(face.dataset.starts);
const kept = JSON.parse(store.getItem(key) ?? "null");
const fits = kept?.plan === face.dataset.plan && (kept.course !== null || kept.before.length > 0);
/** @type {import("./clock_course.js").Course | null} */
let course = fits ? kept.course : null;
let before = fits ? kept.before : [];
/** The starts that the class had before this clock ran; taking everything back leads here. */
const base = fits ? kept.base : found;
let heard = ""; // the last second that was announced or sounded
const record = new StartRecord(
  `/api/v1/classes/${face.dataset.class}/starts`,
  wanted,
  fits ? kept.taken : { ...found },
  keep,
);

/** The browser's store, or one that lasts as long as the page where there is none. */
function storage() {
  try {
    localStorage.setItem("clock tried", "");
    localStorage.removeItem("clock tried");
    return localStorage;
  } catch {
    const lasting = new Map();
    return { getItem: (name) => lasting.get(name) ?? null, setItem: (name, value) => lasting.set(name, value) };
  }
}

/** A block as it stands in the page. @param {HTMLElement} section */
function readBlock(section) {
  const { name, words, free, low, high, rounds, rotate } = section.dataset;
  const steps = [...section.querySelectorAll("tr[data-kind]")].map((row) => ({
    kind: row.dataset.kind,
    seconds: Number(row.dataset.seconds),
    what: row.querySelector(".what"),
  }));
  return {
    name, words, free: free === "true", low: Number(low), high: Number(high),
    rounds: Number(rounds), rotate: rotate === "true", steps, strip: section.querySelector(".plan-strip"),
  };
}

/** The starts that the class should have. On another day it keeps those it has. */
function wanted() {
  if (course ? !course.records : !isTheDay()) return record.taken;
  return course ? followed(blocks, course, time.now()).starts : base;
}

/** Whether this is the class's day; on another the clock only shows. */
function isTheDay() {
  return Math.abs(time.now() - Number(face.dataset.start)) < ANOTHER_DAY_MS;
}

/** Whether the class runs already, and not here. */
function mayJoin() {
  return !course && !before.length && isTheDay() && joined(blocks, found, true) !== null;
}

/** Notes where the clock is, so that a reload goes on from there. */
function keep() {
  const { taken } = record;
  store.setItem(key, JSON.stringify({ plan: face.dataset.plan, course, before, base, taken }));
  tellRecord();
}

/** Does something that Back takes back. @param {(now: number) => typeof course} act */
function change(act) {
  before = [...before, course].slice(-STEPS_BACK);
  course = act(time.now());
  keep();
  draw();
  record.send();
  stayAwake();
}

const countInMs = () => 1000 * Number(at("count-in").value);

at("go").addEventListener("click", () => {
  if (at("beeps").checked) allowSound();
  change((now) => (course ? onward(blocks, course, now, countInMs()) : begin(blocks, now, countInMs(), isTheDay())));
});
at("join").addEventListener("click", () => change(() => joined(blocks, found, isTheDay())));
at("hold").addEventListener("click", () => {
  change((now) => (course.heldAt === null ? held(blocks, course, now) : wentOn(blocks, course, now)));
});
at("back").addEventListener("click", () => {
  course = before.pop() ?? null;
  keep();
  draw();
  record.send();
});
at("over").addEventListener("click", () => change(() => null));
at("beeps").addEventListener("change", (event) => event.target.checked && allowSound());
at("whole-screen").addEventListener("click", () => {
  if (document.fullscreenElement) document.exitFullscreen();
  else document.documentElement.requestFullscreen?.();
});

/** Says what was recorded, and what was not. */
function tellRecord() {
  const lines = [];
  const named = Object.entries(record.taken).filter(([, start]) => start !== null);
  if (course ? !course.records : !isTheDay()) lines.push(say("other-day"));
  else if (mayJoin()) lines.push(say("replaces"));
  if (named.length) {
    const hour = new Intl.DateTimeFormat(face.dataset.locale, { timeStyle: "medium" });
    const starts = named.map(([block, start]) => say("recorded-one", { block, time: hour.format(start) }));
    lines.push(say("recorded", { starts: starts.join(", ") }));
  }
  for (const [block, start] of Object.entries(course?.starts ?? {})) {
    if (start === null) lines.push(say("not-recorded", { block }));
  }
  if (record.state === "waiting") lines.push(say("waiting"));
  if (record.state === "refused") lines.push(say("refused", { why: record.why }));
  const text = lines.join(" ");
  if (at("face-record").textContent !== text) at("face-record").textContent = text;
}

/** Draws what is now, sounds and says what is due. */
function draw() {
  const now = time.now();
  const here = course ? followed(blocks, course, now) : null;
  const over = here !== null && here.block >= blocks.length;
  if (here && Object.keys(here.starts).length !== Object.keys(course.starts).length) {
    course = here; // a block has begun by itself: note it, and let the class know
    keep();
    record.send();
  }
  if (!here) drawn.ready(blocks);
  else if (over) drawn.done();
  else drawn.draw(blocks, here, now, !calm.matches);
  label(here, over);
  if (here && !over && here.heldAt === null) sound(here, now);
}

/** What the buttons do now. */
function label(here, over) {
  const next = here ? blocks[here.block + 1] : blocks[0];
  const running = here !== null && !over && !blocks[here.block].free;
  const name = !here ? say("start") : next ? say(running ? "skip" : "start-block", { block: next.name }) : say("end");
  if (at("go").textContent !== name) at("go").textContent = name;
  at("go").hidden = over;
  at("go").classList.toggle("quiet", running);
  at("join").hidden = !mayJoin();
  at("hold").hidden = !running;
  const hold = say(here?.heldAt == null ? "hold" : "go-on");
  if (at("hold").textContent !== hold) at("hold").textContent = hold;
  at("back").disabled = before.length === 0;
}

/** Beeps and says aloud, once for each second that matters. */
function sound(here, now) {
  const block = blocks[here.block];
  const elapsedMs = now - here.begun;
  if (block.free) return;
  const place = elapsedMs < 0 ? null : placeIn(block, elapsedMs);
  const left = Math.ceil((place ? place.until : 0) - elapsedMs / 1000);
  const second = `${here.block} ${place ? `${place.round} ${place.step}` : "in"} ${left}`;
  if (heard === second) return;
  const bell = heard !== "" && place !== null && !heard.startsWith(second.replace(/\d+$/, ""));
  heard = second;
  if (bell) {
    const { kind, seconds } = block.steps[place.step];
    at("face-said").textContent = `${say(kind)} ${reading(seconds)}. ${at("face-first").textContent}${at("face-next").textContent}`;
  }
  if (at("beeps").checked && (bell || left <= 3)) beep(bell);
}

/** Keeps the screen on while the clock runs, where the browser can. */
async function stayAwake() {
  try {
    await navigator.wakeLock.request("screen");
    at("face-offline").dataset.screen = say("screen-stays");
  } catch {
    at("face-offline").dataset.screen = say("screen-sleeps");
  }
  tellOffline();
}

let offline = say("offline-open");
function tellOffline() {
  at("face-offline").textContent = [offline, at("face-offline").dataset.screen].filter(Boolean).join(" ");
}

/** Lets this page and all that it is made of be there without a network. */
async function keepPages() {
  if (!("serviceWorker" in navigator)) return;
  await navigator.serviceWorker.register("/clock/worker.js", { scope: "/clock/" });
  await navigator.serviceWorker.ready;
  const parts = performance.getEntriesByType("resource").map((entry) => new URL(entry.name));
  const own = parts.filter(({ origin, pathname }) => origin === location.origin && pathname.startsWith("/static/"));
  const pages = await caches.open(KEPT_PAGES);
  await pages.addAll([location.pathname, ...new Set(own.map(({ pathname }) => pathname))]);
  offline = say("offline-ready");
}

document.addEventListener("visibilitychange", async () => {
  if (document.visibilityState !== "visible") return;
  time.setByDevice(); // the device may have slept, and the steady clock with it
  if (course) stayAwake();
  await time.ask();
});
for (const id of ["beeps", "count-in"]) {
  const field = at(id);
  const name = `clock ${id}`;
  const was = store.getItem(name);
  if (was !== null && field.type === "checkbox") field.checked = was === "true";
  else if (was !== null) field.value = was;
  field.addEventListener("change", () => store.setItem(name, String(field.type === "checkbox" ? field.checked : field.value)));
}

face.hidden = false;
at("no-scripts").hidden = true;
document.body.classList.add("running");
draw();
tellRecord();
tellOffline();
setInterval(draw, 100);
await time.ask();
record.send();
await keepPages().catch(() => {});
tellOffline();
