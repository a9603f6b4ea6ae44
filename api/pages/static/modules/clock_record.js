// Sends the true start of every block into the class. What was taken is noted, what was not yet is
// sent again: when the network comes back, and every so often. Sending twice does no harm.

const AGAIN_MS = 15_000;

export class StartRecord {
  /**
   * @param {string} address of the class's starts
   * @param {() => Object<string, number | null>} wanted the starts as they are now
   * @param {Object<string, number | null>} taken what the service has taken already
   * @param {() => void} changed called when there is something new to say
   */
  constructor(address, wanted, taken, changed) {
    Object.assign(this, { address, wanted, taken, changed, state: "fine", why: "", busy: false });
    window.addEventListener("online", () => this.send());
    setInterval(() => this.send(), AGAIN_MS);
  }

  /** What the service has to hear: starts that are new or others, null for what no longer holds. */
  pending() {
    const wanted = this.wanted();
    const found = {};
    for (const block of new Set([...Object.keys(wanted), ...Object.keys(this.taken)])) {
      const start = wanted[block] ?? null;
      if (start !== (this.taken[block] ?? null)) found[block] = start;
    }
    return found;
  }

  /** Sends what is pending, and looks again afterwards. */
  async send() {
    const found = this.pending();
    if (this.busy || !Object.keys(found).length) return;
    this.busy = true;
    const starts = Object.fromEntries(
      Object.entries(found).map(([block, at]) => [block, at === null ? null : new Date(at).toISOString()]),
    );
    try {
      const answer = await fetch(this.address, {
        method: "PATCH",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ starts }),
      });
      if (answer.ok) {
        Object.assign(this.taken, found);
        Object.assign(this, { state: "fine", why: "" });
      } else {
        const problem = await answer.json().catch(() => ({}));
        Object.assign(this, { state: "refused", why: problem.detail ?? String(answer.status) });
      }
    } catch {
      this.state = "waiting";
    }
    this.busy = false;
    this.changed();
    if (this.state === "fine") await this.send();
  }
}
