/**
 * Where a name or a number may stand on a drawing without touching another.
 *
 * Rules: pure; seats are tried in the order of preference, and whatever was placed first keeps its place.
 */

/** A line of lettering: left edge, middle height, width, in pixels. */
export interface Box {
  readonly x: number;
  readonly y: number;
  readonly width: number;
}

const LINE = 17;
const EDGE = 4;

/** Tell whether two lines of lettering would touch. */
export function touch(one: Box, other: Box): boolean {
  return one.x < other.x + other.width && other.x < one.x + one.width && Math.abs(one.y - other.y) < LINE;
}

/** Return the first of `seats` that touches nothing `taken` and lies on a sheet of that size, if any does. */
export function firstFree(seats: readonly Box[], taken: readonly Box[], width: number, height: number): Box | undefined {
  return seats.find((box) => isOn(box, width, height) && !taken.some((other) => touch(box, other)));
}

function isOn(box: Box, width: number, height: number): boolean {
  return box.x >= EDGE && box.x + box.width <= width - EDGE && box.y >= LINE / 2 && box.y <= height - LINE / 2;
}
