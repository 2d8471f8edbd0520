/**
 * The frame of a drawing in three dimensions: its middle, how much heights are enlarged, and what has to be seen.
 *
 * Rules: pure; made of released positions and the depths released with them (R7), of all that is held and not of the
 * moment shown, so that the drawing keeps still while time passes.
 */

import type { Dive } from '../store';
import type { Point, Reach } from './camera';

export interface Frame3 {
  /** Where something stands in the drawing. */
  readonly point: (east_m: number, north_m: number, depth_m: number) => Point;
  /** How many times as high as lengths heights are drawn. */
  readonly exaggeration: number;
  readonly reach: Reach;
  readonly shallowest_m: number;
  readonly deepest_m: number;
  readonly east_m: readonly [number, number];
  readonly north_m: readonly [number, number];
  /** The side of a square of the seabed. */
  readonly side_m: number;
  /** The middle of one square. */
  readonly origin: readonly [east_m: number, north_m: number];
}

const EXAGGERATIONS = [20, 10, 5, 2, 1];
/** The share of its breadth that the drawing may be high. */
const TALL = 0.3;
/** Squares across, where positions come in no squares of their own. */
const SQUARES = 32;
const SIDES_M = [1, 2, 5, 10, 25, 50, 100, 250, 500, 1_000];

/** Return the frame of all that is held of a dive; null while no position is told together with a depth. */
export function frameOf(dive: Dive): Frame3 | null {
  const depths = placedDepths(dive);
  if (depths === null || dive.bounds === null) return null;
  const { west, east, south, north } = dive.bounds;
  const span_m = Math.max(east - west, north - south);
  const side_m = dive.header.cell_m ?? SIDES_M.find((side) => side * SQUARES >= span_m) ?? span_m / SQUARES;
  const edge_m = side_m * 1.5;
  const [shallowest_m, deepest_m] = depths;
  const across = Math.hypot(east - west + 2 * edge_m, north - south + 2 * edge_m) / 2;
  const rise_m = deepest_m - shallowest_m;
  const exaggeration = EXAGGERATIONS.find((times) => rise_m * times <= TALL * 2 * across) ?? 1;
  const middle = [(east + west) / 2, (north + south) / 2, (shallowest_m + deepest_m) / 2] as const;
  return {
    point: (east_m, north_m, depth_m) => [east_m - middle[0], (middle[2] - depth_m) * exaggeration, middle[1] - north_m],
    exaggeration,
    reach: { across, tall: (rise_m / 2) * exaggeration },
    shallowest_m,
    deepest_m,
    east_m: [west - edge_m, east + edge_m],
    north_m: [south - edge_m, north + edge_m],
    side_m,
    origin: dive.header.cell_m === null ? [0, 0] : [west, south],
  };
}

/** The least and the greatest depth told together with a position. */
function placedDepths(dive: Dive): readonly [number, number] | null {
  let [least, most] = [Infinity, -Infinity];
  for (const { east_m, depth_m } of dive.tracks) {
    for (let i = 0; i < dive.count; i += 1) {
      const depth = depth_m[i] as number;
      if (Number.isNaN(east_m[i]) || Number.isNaN(depth)) continue;
      least = Math.min(least, depth);
      most = Math.max(most, depth);
    }
  }
  return least <= most ? [least, most] : null;
}
