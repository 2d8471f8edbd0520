/**
 * From metres and seconds to pixels, and the round steps between grid lines.
 *
 * Rules: pure; a plan has one scale for both of its directions; steps are 1, 2 or 5 times a power of ten for
 * lengths, and the divisions of a clock for times.
 */

export interface Linear {
  readonly to: (value: number) => number;
  readonly from: (pixel: number) => number;
}

/** Map [low, high] onto pixels [first, last]; an empty domain maps to `first`. */
export function linear(low: number, high: number, first: number, last: number): Linear {
  if (high === low || first === last) return { to: () => first, from: () => low };
  return {
    to: (value) => first + ((value - low) / (high - low)) * (last - first),
    from: (pixel) => low + ((pixel - first) / (last - first)) * (high - low),
  };
}

/** Return the smallest step of 1, 2 or 5 times a power of ten of units that is at least `least` (> 0, as `unit` is). */
export function roundStep(least: number, unit = 1): number {
  const power = 10 ** Math.floor(Math.log10(least / unit));
  const found = [1, 2, 5, 10].find((factor) => factor * power >= (least / unit) * (1 - 1e-9));
  return (found ?? 10) * power * unit;
}

/** Return the largest step of 1, 2 or 5 times a power of ten of units that is at most `most` (> 0). */
export function roundStepBelow(most: number, unit = 1): number {
  const power = 10 ** Math.floor(Math.log10(most / unit) + 1e-9);
  const found = [5, 2, 1].find((factor) => factor * power <= (most / unit) * (1 + 1e-9));
  return (found ?? 1) * power * unit;
}

const CLOCK_STEPS_S = [5, 15, 30, 60, 120, 300, 600, 900, 1_800, 3_600, 7_200, 10_800, 21_600, 43_200, 86_400];

/** Return the smallest division of a clock, in seconds, that is at least `least_s`. */
export function clockStep(least_s: number): number {
  return CLOCK_STEPS_S.find((step_s) => step_s >= least_s) ?? Math.ceil(least_s / 86_400) * 86_400;
}

/** Return the multiples of `step` within [low, high]. */
export function multiples(low: number, high: number, step: number): number[] {
  const values: number[] = [];
  for (let n = Math.ceil(low / step - 1e-9); n * step <= high + step * 1e-9; n += 1) values.push(n * step);
  return values;
}

/**
 * Return the right end, in seconds, of the time axis of a dive that has lasted `end_s`: exactly that once it is
 * over; while it goes on, the next round time, so that the drawing doesn't creep with every report.
 */
export function timeEnd(end_s: number, over: boolean): number {
  if (over) return Math.max(end_s, 60);
  const step_s = clockStep(Math.max(end_s, 240) / 5);
  return (Math.floor(end_s / step_s + 0.15) + 1) * step_s;
}

/** Return the lower end, in metres, of a depth axis that shows `deepest_m` with room below it. */
export function depthEnd(deepest_m: number): number {
  const shown_m = Math.max(deepest_m, 10) * 1.06;
  const step_m = roundStep(shown_m / 10);
  return Math.ceil(shown_m / step_m) * step_m;
}

/** Return both ends, in metres, of a depth axis: from the surface down, or about the depth that others are told from. */
export function depthDomain(shallowest_m: number, deepest_m: number, isRelative: boolean): readonly [number, number] {
  if (!isRelative) return [0, depthEnd(Number.isNaN(deepest_m) ? 0 : deepest_m)];
  const end_m = depthEnd(Math.max(Math.abs(shallowest_m) || 0, Math.abs(deepest_m) || 0));
  return [-end_m, end_m];
}

export interface Bounds {
  readonly west: number;
  readonly east: number;
  readonly south: number;
  readonly north: number;
}

export interface PlanScale {
  readonly pixelsPerMetre: number;
  readonly x: (east_m: number) => number;
  readonly y: (north_m: number) => number;
  readonly bounds: Bounds;
}

/**
 * Fit `bounds` into a drawing of `width` x `height` pixels with one scale, centred, `margin` pixels free all
 * around, and at least `least_m` metres across.
 */
export function planScale(bounds: Bounds, width: number, height: number, margin: number, least_m: number): PlanScale {
  const across = Math.max(bounds.east - bounds.west, least_m);
  const along = Math.max(bounds.north - bounds.south, least_m);
  const pixelsPerMetre = Math.max(1e-6, Math.min((width - 2 * margin) / across, (height - 2 * margin) / along));
  const east_m = (bounds.east + bounds.west) / 2;
  const north_m = (bounds.north + bounds.south) / 2;
  const halfWidth = width / 2 / pixelsPerMetre;
  const halfHeight = height / 2 / pixelsPerMetre;
  return {
    pixelsPerMetre,
    x: (value) => width / 2 + (value - east_m) * pixelsPerMetre,
    y: (value) => height / 2 - (value - north_m) * pixelsPerMetre,
    bounds: {
      west: east_m - halfWidth,
      east: east_m + halfWidth,
      south: north_m - halfHeight,
      north: north_m + halfHeight,
    },
  };
}

/** Return the grid step in metres, round in units of `unit_m`, whose lines stand at least `least` pixels apart. */
export function gridStep(pixelsPerMetre: number, least: number, unit_m = 1): number {
  return roundStep(least / pixelsPerMetre, unit_m);
}

/** Return the longest length in metres, round in units of `unit_m`, that a scale bar of at most `most` pixels can show. */
export function barLength(pixelsPerMetre: number, most: number, unit_m = 1): number {
  return roundStepBelow(most / pixelsPerMetre, unit_m);
}
