/**
 * The ship's own clock, as near as it can be known from what arrives late.
 *
 * Rules: pure; the state that took the least time to come says how the clocks stand to each other, so that the estimate is
 * never ahead of the ship; what waited on its way is told as that much behind; the page's clock may run faster than the
 * ship's by `DRIFT` of the time; a new line to the ship begins anew, since hers may have been set back.
 */

/** More than the quartz of a computer is wrong by; from memory. */
const DRIFT = 1e-4;
/** So much behind is worth a word. */
export const BEHIND_S = 2;

export class ShipClock {
  private least_us: number | null = null;
  private at_s = 0;
  private isNewLine = true;

  /** A state of the ship's moment `now_us` has come at `at_s`. */
  hear(now_us: number, at_s: number): void {
    const offset_us = at_s * 1e6 - now_us;
    const drifted_us = this.least_us === null || this.isNewLine ? offset_us : this.least_us + (at_s - this.at_s) * 1e6 * DRIFT;
    this.isNewLine = false;
    [this.least_us, this.at_s] = [Math.min(offset_us, drifted_us), at_s];
  }

  /** A new line to the ship: what comes over it is measured by itself. */
  anew(): void {
    this.isNewLine = true;
  }

  /** Return the ship's moment now, null where nothing was heard. */
  now_us(at_s: number): number | null {
    return this.least_us === null ? null : Math.floor(at_s * 1e6 - this.least_us);
  }

  /** Return how long ago the ship said what is from her moment `of_us`. */
  age_s(of_us: number, at_s: number): number {
    const now_us = this.now_us(at_s);
    return now_us === null ? 0 : Math.max(0, (now_us - of_us) / 1e6);
  }
}
