/**
 * The released track as a level ribbon at the depths told.
 *
 * Rules: pure; a corner of the way stands at each change of what was told, and none between; where position or depth
 * is not told the ribbon ends; vehicles after the first have a ribbon of dashes, so that none is told by colour.
 */

import type { Dive, Track } from '../store';
import type { Point } from './camera';
import type { Frame3 } from './frame3';
import type { Shape } from './seabed';

/** Return the unbroken ways of one vehicle up to tick `at`. */
export function waysOf({ east_m, north_m, depth_m }: Track, at: number, { point }: Frame3): Point[][] {
  const ways: Point[][] = [];
  let way: Point[] | null = null;
  for (let i = 0; i <= at; i += 1) {
    const [east, north, depth] = [east_m[i] as number, north_m[i] as number, depth_m[i] as number];
    if (Number.isNaN(east) || Number.isNaN(depth)) {
      way = null;
      continue;
    }
    const next = point(east, north, depth);
    const last = way?.at(-1);
    if (last && last.every((value, n) => value === next[n])) continue;
    if (way === null) ways.push((way = []));
    way.push(next);
  }
  return ways;
}

/** Cut a way into dashes of `dash` metres with as much between; each dash keeps the corners it goes round. */
export function dashed(way: readonly Point[], dash: number): Point[][] {
  const pieces: Point[][] = [];
  let piece: Point[] | null = null;
  let left = dash;
  for (let n = 1; n < way.length; n += 1) {
    const [from, to] = [way[n - 1] as Point, way[n] as Point];
    const whole = Math.hypot(to[0] - from[0], to[1] - from[1], to[2] - from[2]);
    if (n === 1) pieces.push((piece = [from]));
    let gone = 0;
    while (whole - gone > left) {
      gone += left;
      const here = between(from, to, gone / whole);
      if (piece) piece.push(here);
      if (piece) piece = null;
      else pieces.push((piece = [here]));
      left = dash;
    }
    left -= whole - gone;
    piece?.push(to);
  }
  return pieces.filter((one) => one.length > 1);
}

function between(from: Point, to: Point, share: number): Point {
  return [from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1]), from[2] + share * (to[2] - from[2])];
}

/** Return a ribbon along a way: a level strip for each stretch, upright where the way only rises or falls. */
export function ribbonOf(way: readonly Point[], width: number): Shape {
  const faces: number[] = [];
  const edges: number[] = [];
  for (let n = 1; n < way.length; n += 1) {
    const [from, to] = [way[n - 1] as Point, way[n] as Point];
    const [dx, dz] = [to[0] - from[0], to[2] - from[2]];
    const level = Math.hypot(dx, dz);
    const [x, z] = level === 0 ? [width / 2, 0] : [(-dz / level) * (width / 2), (dx / level) * (width / 2)];
    const beside = ([px, py, pz]: Point, side: 1 | -1): Point => [px + side * x, py, pz + side * z];
    const [a, b, c, d] = [beside(from, 1), beside(from, -1), beside(to, -1), beside(to, 1)];
    faces.push(...a, ...b, ...c, ...a, ...c, ...d);
    edges.push(...from, ...to);
  }
  return { faces, edges };
}

/** Where a vehicle was last told up to tick `at`, and whether it still is. */
export function nowOf(dive: Dive, track: Track, at: number, { point }: Frame3): { readonly at: Point; readonly heard: boolean } | null {
  const last = at < 0 ? -1 : (track.lastHeard[at] ?? -1);
  const [east, depth] = [track.east_m[last] ?? NaN, track.depth_m[last] ?? NaN];
  if (last < 0 || last >= dive.count || Number.isNaN(east) || Number.isNaN(depth)) return null;
  return { at: point(east, track.north_m[last] as number, depth), heard: last === at };
}
