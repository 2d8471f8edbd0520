/**
 * How fast a vehicle went, as far as the released positions tell (R7).
 *
 * Rules: pure; the way is the sum of the hops between released positions; where they don't cover most of the
 * window, nothing is said.
 */

import { indexAt } from './playhead';
import type { Dive, Track } from './store';

export const WINDOW_S = 300;

/** Return metres per second over the `WINDOW_S` before tick `i`, or null where the track doesn't tell. */
export function pace_mps(dive: Dive, track: Track, i: number): number | null {
  const now_s = dive.elapsed_s[i] ?? NaN;
  const first = Math.max(0, indexAt(dive.elapsed_s, dive.count, now_s - WINDOW_S));
  const known = placed(track, first, i);
  const [from, to] = [known[0], known[known.length - 1]];
  if (from === undefined || to === undefined) return null;
  const over_s = (dive.elapsed_s[to] as number) - (dive.elapsed_s[from] as number);
  return over_s >= 0.8 * WINDOW_S ? way_m(track, first, i) / over_s : null;
}

/** Return the way in metres between the released positions of ticks `first` to `last`. */
export function way_m(track: Track, first: number, last: number): number {
  const known = placed(track, first, last);
  return known.reduce((way, to, n) => (n === 0 ? 0 : way + hop(track, known[n - 1] as number, to)), 0);
}

function placed(track: Track, first: number, last: number): number[] {
  const known: number[] = [];
  for (let i = first; i <= last; i += 1) if (!Number.isNaN(track.east_m[i])) known.push(i);
  return known;
}

function hop(track: Track, from: number, to: number): number {
  return Math.hypot(
    (track.east_m[to] as number) - (track.east_m[from] as number),
    (track.north_m[to] as number) - (track.north_m[from] as number),
  );
}
