/**
 * A rate limit for what is said aloud.
 *
 * Rules: pure but for its own memory, the clock is passed in; the same words are never said twice in a row, and
 * nothing is said within `least_s` of the last time; what waits is replaced by what is newer.
 */

export const LEAST_S = 20;

export class Announcer {
  private said = '';
  private said_s = -Infinity;

  constructor(private readonly least_s = LEAST_S) {}

  /** Return in how many seconds `words` may be said (0: now), or null if there is nothing new to say. */
  owed_s(words: string, now_s: number): number | null {
    if (words === '' || words === this.said) return null;
    return Math.max(0, this.said_s + this.least_s - now_s);
  }

  /** Return `words` if they are due to be said at `now_s`, else null. */
  offer(words: string, now_s: number): string | null {
    if (this.owed_s(words, now_s) !== 0) return null;
    this.said = words;
    this.said_s = now_s;
    return words;
  }
}
