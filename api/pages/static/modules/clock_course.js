// How a class goes through its plan's blocks, as plain values. A course says which block runs and
// when it began; what follows by itself, the end of a block on the clock, follows from the time.

/**
 * @typedef {{kind: "work" | "rest", seconds: number, what: Element | null}} Step
 * @typedef {{name: string, words: string, free: boolean, low: number, high: number,
 *   rounds: number, rotate: boolean, steps: Step[], strip: Element | null}} Block
 * @typedef {{block: number, begun: number, heldAt: number | null,
 *   starts: Object<string, number | null>, records: boolean}} Course
 *   begun: when the block's first bell is, in milliseconds since 1970; it may be to come.
 *   starts: when blocks on the clock began; null where holding has spoilt it.
 *   records: whether the starts are the class's, or the clock only shows.
 */

// Holding for less than this leaves a start true enough (it is used as true to two seconds).
const HARMLESS_MS = 1000;

/** Milliseconds of a block on the clock. @param {Block} block */
export function lengthMs(block) {
  return 1000 * block.rounds * block.steps.reduce((sum, step) => sum + step.seconds, 0);
}

/** The course as it is now. @param {Block[]} blocks @param {Course} course @param {number} now */
export function followed(blocks, course, now) {
  const at = course.heldAt ?? now;
  let { block, begun } = course;
  const starts = { ...course.starts };
  while (block < blocks.length) {
    const { name, free } = blocks[block];
    if (!free && at >= begun && !(name in starts)) starts[name] = begun;
    if (free || at < begun + lengthMs(blocks[block])) break;
    begun += lengthMs(blocks[block]);
    block += 1;
  }
  return { ...course, block, begun, starts };
}

/** The first block begins. @param {Block[]} blocks @param {number} now @param {number} countInMs @param {boolean} records */
export function begin(blocks, now, countInMs, records) {
  const begun = now + (blocks[0].free ? 0 : countInMs);
  return { block: 0, begun, heldAt: null, starts: {}, records };
}

/**
 * Where a class is by the starts that were recorded, on another screen for instance.
 * @param {Block[]} blocks @param {Object<string, number>} starts @param {boolean} records
 * @returns {Course | null} null where none of them is a block's
 */
export function joined(blocks, starts, records) {
  const block = blocks.findLastIndex(({ name }) => name in starts);
  if (block < 0) return null;
  return { block, begun: starts[blocks[block].name], heldAt: null, starts: { ...starts }, records };
}

/** On to the next block. @param {Block[]} blocks @param {Course} course @param {number} now @param {number} countInMs */
export function onward(blocks, course, now, countInMs) {
  const here = followed(blocks, course, now);
  const next = blocks[here.block + 1];
  const wait = next && !next.free ? countInMs : 0;
  return { ...here, block: here.block + 1, begun: now + wait, heldAt: null };
}

/** The clock stands. @param {Block[]} blocks @param {Course} course @param {number} now */
export function held(blocks, course, now) {
  return { ...followed(blocks, course, now), heldAt: now };
}

/** The clock goes on. @param {Block[]} blocks @param {Course} course @param {number} now */
export function wentOn(blocks, course, now) {
  const stood = now - course.heldAt;
  const { name, free } = blocks[course.block] ?? { name: "", free: true };
  const ran = !free && course.heldAt >= course.begun;
  const starts = { ...course.starts };
  if (ran && stood > HARMLESS_MS) starts[name] = null;
  return { ...course, begun: course.begun + stood, heldAt: null, starts };
}

/**
 * Where in a block on the clock an instant lies.
 * @param {Block} block @param {number} elapsedMs since its first bell; below 0 before it
 * @returns {{round: number, step: number, from: number, until: number}} seconds on its clock
 */
export function placeIn(block, elapsedMs) {
  const roundS = lengthMs(block) / 1000 / block.rounds;
  const second = Math.max(0, elapsedMs / 1000);
  const round = Math.min(block.rounds - 1, Math.floor(second / roundS));
  let from = round * roundS;
  let step = 0;
  while (step < block.steps.length - 1 && second >= from + block.steps[step].seconds) {
    from += block.steps[step].seconds;
    step += 1;
  }
  return { round, step, from, until: from + block.steps[step].seconds };
}
