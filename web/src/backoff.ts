/**
 * How long to wait before trying again.
 *
 * Rules: pure; the wait doubles from `first_s` to `most_s`; chance takes away up to half of it, so that a
 * thousand pages that lost the same relay don't come back in the same second (the "equal jitter" of the AWS
 * Architecture Blog, "Exponential Backoff And Jitter", 2015).
 */

export interface Backoff {
  readonly first_s: number;
  readonly most_s: number;
}

export const BACKOFF: Backoff = { first_s: 2, most_s: 60 };

/** Return the wait in seconds before attempt `attempt` (0 is the first); `chance` is in [0, 1). */
export function wait_s(attempt: number, chance: number, { first_s, most_s }: Backoff = BACKOFF): number {
  const longest_s = Math.min(most_s, first_s * 2 ** Math.min(attempt, 30));
  return longest_s / 2 + (longest_s / 2) * chance;
}
