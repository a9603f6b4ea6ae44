// The time: the service's where it could be asked, and steady between bells whatever happens to
// the device's own clock.

const AHEAD = "clock ahead"; // by how many milliseconds the service's clock is ahead of this one
const ASKED = 5;
const UNNOTICED_MS = 250;

export class Time {
  /** @param {Storage} store */
  constructor(store) {
    this.store = store;
    this.ahead = Number(store.getItem(AHEAD)) || 0;
    this.setByDevice();
  }

  /** Milliseconds since 1970; it runs evenly from where it was last set. */
  now() {
    return this.wall + performance.now() - this.ticks;
  }

  /** Sets it by the device's clock: when the page opens, and when the device has slept. */
  setByDevice() {
    this.wall = Date.now() + this.ahead;
    this.ticks = performance.now();
  }

  /** Asks the service a few times; the quickest answer says most. Nothing changes without one. */
  async ask() {
    let best = null;
    for (let turn = 0; turn < ASKED; turn += 1) {
      try {
        const before = performance.now();
        const answer = await fetch("/api/v1/time", { cache: "no-store" });
        const took = performance.now() - before;
        if (!answer.ok) break;
        const ahead = Date.parse((await answer.json()).now) + took / 2 - Date.now();
        if (best === null || took < best.took) best = { took, ahead };
      } catch {
        break;
      }
    }
    if (best === null) return;
    this.ahead = best.ahead;
    this.store.setItem(AHEAD, String(best.ahead));
    if (Math.abs(Date.now() + this.ahead - this.now()) > UNNOTICED_MS) this.setByDevice();
  }
}
