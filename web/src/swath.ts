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
const MOST_KNOWN = 2_000;

/** Return the area of the union of strips in square metres, by lines across all of them (midpoint rule). */
export function unionArea_m2(strips: readonly Strip[], swath_m: number): number {
  const tall = strips.reduce((sum, strip) => sum + tallness(strip), 0);
  const ground = new Ground(Math.max(swath_m / LINES_PER_SWATH, tall / MOST_CROSSINGS));
  for (const strip of strips) ground.add(strip);
  return ground.area_m2;
}

function tilt(strip: Strip): Corner[] {
  return strip.map(([east, north]): Corner => [east * Math.cos(TILT) - north * Math.sin(TILT), east * Math.sin(TILT) + north * Math.cos(TILT)]);
}

function spanOf(corners: readonly Corner[]): readonly [number, number] {
  const heights = corners.map(([, y]) => y);
  return [Math.min(...heights), Math.max(...heights)];
}

function tallness(strip: Strip): number {
  const [low, high] = spanOf(tilt(strip));
  return high - low;
}

/** Ground that grows strip by strip. */
class Ground {
  /** By line: the stretches that are covered, none touching another, in order. */
  private readonly lines = new Map<number, (readonly [number, number])[]>();
  private length = 0;

  /** `step` is how far apart the lines are. */
  constructor(readonly step: number) {}

  get area_m2(): number {
    return this.length * this.step;
  }

  add(strip: Strip): void {
    const corners = tilt(strip);
    const [low, high] = spanOf(corners);
    for (let at = Math.ceil(low / this.step - 0.5); (at + 0.5) * this.step < high; at += 1) {
      const line = this.lines.get(at) ?? [];
      this.lines.set(at, line);
      this.length += cover(line, ...crossing(corners, (at + 0.5) * this.step));
    }
  }
}

/** Cover a stretch of a line, and return by how much more is covered than before. */
function cover(line: (readonly [number, number])[], left: number, right: number): number {
  let first = 0;
  while (first < line.length && (line[first]?.[1] as number) < left) first += 1;
  let [end, from, to, before] = [first, left, right, 0];
  for (let one = line[end]; one && one[0] <= right; one = line[(end += 1)]) {
    [from, to, before] = [Math.min(from, one[0]), Math.max(to, one[1]), before + one[1] - one[0]];
  }
  line.splice(first, end - first, [from, to]);
  return to - from - before;
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

/** What is known of the ground of a dive: the area after each of its samples, in the order of time. */
class Survey {
  private readonly areas: number[] = [0];
  private readonly ground: Ground;
  /** Of each vehicle, how many samples were taken. */
  private readonly taken: number[];
  private readonly later = new Map<number, number>();
  private tall = 0;

  constructor(private readonly dive: Dive, private readonly swath_m: number) {
    this.ground = new Ground(swath_m / LINES_PER_SWATH);
    this.taken = dive.tracks.map(() => 0);
  }

  /** Return the area after `count` samples, which are those up to tick `i`. */
  area_m2(count: number, i: number): number {
    while (this.areas.length <= count && !this.isTooTall) this.areas.push(this.next());
    const known_m2 = this.areas[count] ?? this.later.get(count) ?? unionArea_m2(stripsOf(this.dive, i) ?? [], this.swath_m);
    if (this.areas.length <= count && this.later.size < MOST_KNOWN) this.later.set(count, known_m2);
    return known_m2;
  }

  /** Whether so many lines would be crossed that they have to stand further apart, each time anew. */
  private get isTooTall(): boolean {
    return this.tall > MOST_CROSSINGS * this.ground.step;
  }

  /** Take the sample that comes next, and return the area with it. */
  private next(): number {
    const { dive, ground, taken } = this;
    const ticks = dive.tracks.map(({ samples }, vehicle) => samples[taken[vehicle] as number] ?? Infinity);
    const vehicle = ticks.indexOf(Math.min(...ticks));
    const n = taken[vehicle] as number;
    taken[vehicle] = n + 1;
    for (const strip of strips(dive, dive.tracks[vehicle] as Track, Math.max(1, n), n + 1)) {
      this.tall += tallness(strip);
      ground.add(strip);
    }
    return ground.area_m2;
  }
}

const known = new WeakMap<Dive, Survey>();

/** Return the area covered up to tick `i` in square metres; null where no swath or no position is told. */
export function covered_m2(dive: Dive, i: number): number | null {
  const { swath_m } = dive.header;
  const count = dive.tracks.reduce((sum, track) => sum + samplesUpTo(track, i), 0);
  if (swath_m === null || count === 0) return null;
  const survey = known.get(dive) ?? new Survey(dive, swath_m);
  known.set(dive, survey);
  return survey.area_m2(count, i);
}
