/**
 * The ground covered: a strip as wide as the swath beside each stretch of released track.
 *
 * Rules: pure; strips are made of the samples that the way is made of, as the relay makes the same number (R7), and end
 * square, so that a turn covers nothing of its own; ground covered twice counts once.
 */

import { BREAK_S, samplesUpTo } from './pace';
import type { Dive, Track } from './store';

export type Corner = readonly [east_m: number, north_m: number];
/** Four corners, the first two at the begin of a stretch, all strips wound alike. */
export type Strip = readonly [Corner, Corner, Corner, Corner];

/** Return the strips covered up to tick `i`, of all vehicles; null where no swath is told. */
export function stripsOf(dive: Dive, i: number): readonly Strip[] | null {
  return dive.header.swath_m === null ? null : dive.tracks.flatMap((track) => strips(dive, track, 1, samplesUpTo(track, i)));
}

/** Return the strips whose stretch ends past tick `after`, up to tick `i`, and of each vehicle the one before those. */
export function stripsBetween(dive: Dive, after: number, i: number): readonly Strip[] {
  return dive.tracks.flatMap((track) => {
    const [first, end] = [samplesUpTo(track, after), samplesUpTo(track, i)];
    return first < end ? strips(dive, track, Math.max(1, first - 1), end) : [];
  });
}

/** The strips to the samples `first` up to, and without, `end`. */
function strips(dive: Dive, { samples, east_m, north_m }: Track, first: number, end: number): Strip[] {
  const { swath_m } = dive.header;
  const found: Strip[] = [];
  for (let n = first; n < end && swath_m !== null; n += 1) {
    const [from, to] = [samples[n - 1] as number, samples[n] as number];
    if ((dive.elapsed_s[to] as number) - (dive.elapsed_s[from] as number) > BREAK_S) continue;
    const strip = stripOf([east_m[from] as number, north_m[from] as number], [east_m[to] as number, north_m[to] as number], swath_m);
    if (strip !== null) found.push(strip);
  }
  return found;
}

function stripOf([east, north]: Corner, [toEast, toNorth]: Corner, swath_m: number): Strip | null {
  const length = Math.hypot(toEast - east, toNorth - north);
  if (length === 0) return null;
  const across = ((toNorth - north) / length) * (swath_m / 2);
  const along = ((toEast - east) / length) * (swath_m / 2);
  return [[east - across, north + along], [east + across, north - along], [toEast + across, toNorth - along], [toEast - across, toNorth + along]];
}

/** The direction of the lines, away from those of tracks on squared paper: an edge that runs along a line is missed or taken whole. */
const TILT = 0.4;
const LINES_PER_SWATH = 12;
const MOST_CROSSINGS = 60_000;

/** Return the area of the union of strips in square metres, by lines across all of them (midpoint rule). */
export function unionArea_m2(strips: readonly Strip[], swath_m: number): number {
  const tilted = strips.map((strip) => strip.map(([east, north]): Corner => [east * Math.cos(TILT) - north * Math.sin(TILT), east * Math.sin(TILT) + north * Math.cos(TILT)]));
  const spans = tilted.map((corners) => [Math.min(...corners.map(([, y]) => y)), Math.max(...corners.map(([, y]) => y))] as const);
  const tall = spans.reduce((sum, [low, high]) => sum + high - low, 0);
  const step = Math.max(swath_m / LINES_PER_SWATH, tall / MOST_CROSSINGS);
  const lines = new Map<number, (readonly [number, number])[]>();
  tilted.forEach((corners, n) => {
    const [low, high] = spans[n] as readonly [number, number];
    for (let at = Math.ceil(low / step - 0.5); (at + 0.5) * step < high; at += 1) {
      const crossed = crossing(corners, (at + 0.5) * step);
      const line = lines.get(at);
      if (line) line.push(crossed);
      else lines.set(at, [crossed]);
    }
  });
  let length = 0;
  for (const line of lines.values()) length += unionLength(line);
  return length * step;
}

/** The stretch of the line at height `y` within a convex shape. */
function crossing(corners: readonly Corner[], y: number): readonly [number, number] {
  let [left, right] = [Infinity, -Infinity];
  corners.forEach(([x1, y1], n) => {
    const [x2, y2] = corners[(n + 1) % corners.length] as Corner;
    if (y1 <= y === y2 <= y) return;
    const x = x1 + ((y - y1) / (y2 - y1)) * (x2 - x1);
    left = Math.min(left, x);
    right = Math.max(right, x);
  });
  return [left, right];
}

function unionLength(stretches: (readonly [number, number])[]): number {
  stretches.sort(([one], [other]) => one - other);
  let length = 0;
  let reached = -Infinity;
  for (const [left, right] of stretches) {
    length += Math.max(0, right - Math.max(left, reached));
    reached = Math.max(reached, right);
  }
  return length;
}

const MOST_KNOWN = 2_000;
const known = new WeakMap<Dive, Map<string, number>>();

/** Return the area covered up to tick `i` in square metres; null where no swath or no position is told. */
export function covered_m2(dive: Dive, i: number): number | null {
  const { swath_m } = dive.header;
  if (swath_m === null || dive.tracks.every((track) => samplesUpTo(track, i) === 0)) return null;
  const upTo = dive.tracks.map((track) => samplesUpTo(track, i)).join(' ');
  const areas = known.get(dive) ?? new Map<string, number>();
  known.set(dive, areas);
  const area_m2 = areas.get(upTo) ?? unionArea_m2(stripsOf(dive, i) ?? [], swath_m);
  if (areas.size < MOST_KNOWN) areas.set(upTo, area_m2);
  return area_m2;
}
