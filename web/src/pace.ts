/**
 * How far and how fast a vehicle went, as far as the released positions tell (R7).
 *
 * Rules: pure; made of the track's samples alone, as the relay makes the same numbers; where positions stay away for
 * longer than `BREAK_S` a new piece begins, and nothing is run in between.
 */

import { indexAt } from './playhead';
import type { Dive, Track } from './store';

export const BREAK_S = 150;
export const WINDOW_S = 300;

export interface Pace {
  readonly speed_mps: number;
  /** The dive time that was looked at. */
  readonly over_s: number;
}

/** Return the pace at tick `i` over at most `WINDOW_S`, or null where the track doesn't tell. */
export function pace(dive: Dive, track: Track, i: number): Pace | null {
  const last = samplesUpTo(track, i) - 1;
  const time_s = (n: number): number => dive.elapsed_s[track.samples[n] as number] as number;
  if (last < 0 || (dive.elapsed_s[i] as number) - time_s(last) > BREAK_S) return null;
  let first = last;
  while (first > 0 && time_s(first) - time_s(first - 1) <= BREAK_S && time_s(last) - time_s(first - 1) <= WINDOW_S) first -= 1;
  const over_s = time_s(last) - time_s(first);
  return over_s === 0 ? null : { speed_mps: between_m(dive, track, first, last) / over_s, over_s };
}

/** Return how many of a track's samples lie at or before tick `i`. */
export function samplesUpTo(track: Track, i: number): number {
  return indexAt(track.samples, track.samples.length, i) + 1;
}

/** Return the way in metres up to tick `i`; null without a released position. */
export function way_m(dive: Dive, track: Track, i: number): number | null {
  const last = samplesUpTo(track, i) - 1;
  return last < 0 ? null : between_m(dive, track, 0, last);
}

function between_m(dive: Dive, track: Track, first: number, last: number): number {
  let way = 0;
  for (let n = first + 1; n <= last; n += 1) {
    const [from, to] = [track.samples[n - 1] as number, track.samples[n] as number];
    if ((dive.elapsed_s[to] as number) - (dive.elapsed_s[from] as number) <= BREAK_S) way += hop(track, from, to);
  }
  return way;
}

function hop(track: Track, from: number, to: number): number {
  return Math.hypot(
    (track.east_m[to] as number) - (track.east_m[from] as number),
    (track.north_m[to] as number) - (track.north_m[from] as number),
  );
}

/** Return the dive time told as the bottom leg, in seconds, up to tick `i`; null where legs aren't told. */
export function bottom_s(dive: Dive, track: Track, i: number): number | null {
  const isTold = track.firstLeg >= 0 && track.firstLeg <= i;
  return isTold ? (track.bottomTicks[i] as number) * dive.header.tick_s : null;
}
