/**
 * What the released depths tell of the seabed: a step for each square where a vehicle was at work below.
 *
 * Rules: pure; made of released depth at a released position on the bottom leg alone (R7), never of a moment told as
 * mid-water; nothing is drawn between squares that do not touch, nor where none was; a step stands at the greatest
 * depth told there, so the seabed is there or deeper.
 */

import type { Dive } from '../store';
import type { Frame3 } from './frame3';
import type { Point } from './camera';

export interface Cell {
  readonly column: number;
  readonly row: number;
  readonly east_m: number;
  readonly north_m: number;
  readonly depth_m: number;
}

/** Return the squares of `side_m` seen up to tick `at`, of all vehicles; `origin` is the middle of one of them. */
export function cellsOf(dive: Dive, at: number, side_m: number, origin: readonly [east_m: number, north_m: number]): Cell[] {
  const cells = new Map<string, Cell>();
  for (const track of dive.tracks) {
    for (let i = 0; i <= at; i += 1) {
      const [east, north, depth_m] = [track.east_m[i] as number, track.north_m[i] as number, track.depth_m[i] as number];
      if (Number.isNaN(east) || Number.isNaN(depth_m) || track.leg(i) !== 'bottom' || track.altitude(i) === 'mid-water') continue;
      const column = Math.round((east - origin[0]) / side_m);
      const row = Math.round((north - origin[1]) / side_m);
      const key = `${column} ${row}`;
      if ((cells.get(key)?.depth_m ?? -Infinity) >= depth_m) continue;
      cells.set(key, { column, row, east_m: origin[0] + column * side_m, north_m: origin[1] + row * side_m, depth_m });
    }
  }
  return [...cells.values()];
}

/** Corners of triangles and ends of lines, three numbers each. */
export interface Shape {
  readonly faces: readonly number[];
  readonly edges: readonly number[];
}

type Corners = readonly [Point, Point, Point, Point];

/** Return the steps: a level face for each square, and a wall where two that touch differ. */
export function stepsOf(cells: readonly Cell[], side_m: number, frame: Frame3): Shape {
  const known = new Map(cells.map((cell) => [`${cell.column} ${cell.row}`, cell]));
  const faces: number[] = [];
  const edges: number[] = [];
  for (const cell of cells) {
    face(levelOf(cell, side_m, frame), faces, edges);
    for (const [across, along] of [[1, 0], [0, 1]] as const) {
      const beside = known.get(`${cell.column + across} ${cell.row + along}`);
      if (beside && beside.depth_m !== cell.depth_m) face(wallOf(cell, beside, side_m, frame), faces, edges);
    }
  }
  return { faces, edges };
}

function levelOf({ east_m, north_m, depth_m }: Cell, side_m: number, { point }: Frame3): Corners {
  const half = side_m / 2;
  return [
    point(east_m - half, north_m - half, depth_m),
    point(east_m + half, north_m - half, depth_m),
    point(east_m + half, north_m + half, depth_m),
    point(east_m - half, north_m + half, depth_m),
  ];
}

/** The wall on the side that two squares share. */
function wallOf(one: Cell, other: Cell, side_m: number, { point }: Frame3): Corners {
  const half = side_m / 2;
  const east = (one.east_m + other.east_m) / 2;
  const north = (one.north_m + other.north_m) / 2;
  const [along, up] = one.column === other.column ? [half, 0] : [0, half];
  return [
    point(east - along, north - up, one.depth_m),
    point(east + along, north + up, one.depth_m),
    point(east + along, north + up, other.depth_m),
    point(east - along, north - up, other.depth_m),
  ];
}

function face([a, b, c, d]: Corners, faces: number[], edges: number[]): void {
  faces.push(...a, ...b, ...c, ...a, ...c, ...d);
  edges.push(...a, ...b, ...b, ...c, ...c, ...d, ...d, ...a);
}
