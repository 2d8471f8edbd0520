/**
 * Fewer points for the same picture.
 *
 * Rules: pure; per pixel column the first, lowest, highest and last point stay (the M4 aggregation of Jugel,
 * Jerzak, Hackenbroich and Markl, VLDB 2014: an error-free line at that width); a gap stays a gap.
 */

export type Values = ArrayLike<number>;

/**
 * Return the indices, in order, of the points of `values[from..to)` to draw. `columnOf(i)` is the pixel column
 * of a point and must not fall; a NaN is kept as one index wherever the line breaks.
 */
export function decimate(values: Values, from: number, to: number, columnOf: (index: number) => number): number[] {
  const kept: number[] = [];
  let start = from;
  while (start < to) {
    const column = columnOf(start);
    let end = start + 1;
    const gap = Number.isNaN(values[start]);
    while (end < to && Number.isNaN(values[end]) === gap && (gap || columnOf(end) === column)) end += 1;
    if (gap) kept.push(start);
    else keepExtremes(values, start, end, kept);
    start = end;
  }
  return kept;
}

function keepExtremes(values: Values, start: number, end: number, kept: number[]): void {
  let low = start;
  let high = start;
  for (let i = start + 1; i < end; i += 1) {
    if ((values[i] as number) < (values[low] as number)) low = i;
    if ((values[i] as number) > (values[high] as number)) high = i;
  }
  const order = [start, Math.min(low, high), Math.max(low, high), end - 1];
  order.forEach((index, n) => {
    if (n === 0 || index !== order[n - 1]) kept.push(index);
  });
}

/**
 * Return the indices of `east[from..to)` at which the position changes, or becomes unknown: coarse positions
 * repeat, and a repeated point draws nothing. `before` is the last change before `from`.
 */
export function changes(east: Values, north: Values, to: number, from = 0, before?: number): number[] {
  const kept: number[] = [];
  let last = before;
  for (let i = from; i < to; i += 1) {
    if (last !== undefined && !differs(east, north, i, last)) continue;
    kept.push(i);
    last = i;
  }
  return kept;
}

function differs(east: Values, north: Values, i: number, j: number): boolean {
  return !Object.is(east[i], east[j]) || !Object.is(north[i], north[j]);
}
