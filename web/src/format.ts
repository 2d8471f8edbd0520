/**
 * Numbers as people read them: the one place that knows units and rounding.
 *
 * Rules: input in SI units as named; a no-break space keeps number and unit together; metres only, until a
 * second system is added here.
 */

import { words } from './words';

const NBSP = '\u00a0';
const formats = [0, 1, 2].map(
  (digits) => new Intl.NumberFormat(words.locale, { minimumFractionDigits: 0, maximumFractionDigits: digits }),
);
const { units, long } = words;

/** Format a number with at most `digits` decimals, grouped, with a true minus sign and never "-0". */
export function number(value: number, digits: 0 | 1 | 2 = 0): string {
  const scale = 10 ** digits;
  const rounded = Math.round(value * scale) / scale;
  return (formats[digits] as Intl.NumberFormat).format(rounded === 0 ? 0 : rounded).replace('-', '\u2212');
}

/** Format a length in metres; `step_m` is the step it was rounded to, and decides the decimals. */
export function length(length_m: number, step_m = 1): string {
  return `${number(length_m, step_m < 1 ? 1 : 0)}${NBSP}${units.metre}`;
}

/** Format a depth for an axis; relative ones carry their sign. */
export function axisDepth(depth_m: number, isRelative: boolean): string {
  return isRelative && depth_m > 0 ? `+${length(depth_m)}` : length(depth_m);
}

/** Format an area, known to two leading figures, in square metres or kilometres. */
export function area(area_m2: number): string {
  const { squareMetre, squareKilometre } = words.time.sums;
  const rounded_m2 = coarse(area_m2);
  if (rounded_m2 < 100_000) return `${number(rounded_m2)}${NBSP}${squareMetre}`;
  return `${number(rounded_m2 / 1e6, rounded_m2 < 1e6 ? 2 : 1)}${NBSP}${squareKilometre}`;
}

/** Round to two leading figures, for a sum of coarse lengths. */
export function coarse(value: number): number {
  return Number(value.toPrecision(2));
}

/** Format a speed in metres per second to the tenth. */
export function speed(speed_mps: number): string {
  return `${number(speed_mps, 1)}${NBSP}${units.metresPerSecond}`;
}

/** Format an angle in degrees; half steps such as 22.5 keep their decimal. */
export function angle(angle_deg: number): string {
  return `${number(angle_deg, 1)}${units.degree}`;
}

/** Format a time span for reading: "1 h 12 min", "12 min", "45 s". */
export function span(time_s: number): string {
  const whole_s = Math.max(0, Math.floor(time_s));
  if (whole_s < 60) return `${whole_s}${NBSP}${units.second}`;
  const minutes = Math.floor(whole_s / 60);
  if (minutes < 60) return `${minutes}${NBSP}${units.minute}`;
  const rest = minutes % 60;
  const hours = `${number(Math.floor(minutes / 60))}${NBSP}${units.hour}`;
  return rest === 0 ? hours : `${hours}${NBSP}${rest}${NBSP}${units.minute}`;
}

/** Format dive time as figures of one width: "1:12:15", or "1:12" without seconds. */
export function clock(time_s: number, seconds = true): string {
  const whole_s = Math.max(0, Math.floor(time_s));
  const pair = (value: number) => String(value).padStart(2, '0');
  const hours = `${Math.floor(whole_s / 3600)}:${pair(Math.floor(whole_s / 60) % 60)}`;
  return seconds ? `${hours}:${pair(whole_s % 60)}` : hours;
}

/** Say rising whole numbers shortly: "5, 7\u20139". */
export function list(numbers: readonly number[]): string {
  const runs: { first: number; last: number }[] = [];
  for (const value of numbers) {
    const run = runs[runs.length - 1];
    if (run && value === run.last + 1) run.last = value;
    else runs.push({ first: value, last: value });
  }
  return runs.map(({ first, last }) => (first === last ? String(first) : `${first}\u2013${last}`)).join(', ');
}

const DELAY_UNITS = [
  { upTo_s: 120, size_s: 1, say: long.second },
  { upTo_s: 7_200, size_s: 60, say: long.minute },
  { upTo_s: 172_800, size_s: 3_600, say: long.hour },
  { upTo_s: Infinity, size_s: 86_400, say: long.day },
];

/** Say a delay given by its bounds, never shorter nor narrower than it is: "45 to 55 minutes". */
export function delay(least_s: number, most_s: number): string {
  const unit = DELAY_UNITS.find(({ upTo_s }) => most_s < upTo_s) ?? (DELAY_UNITS[3] as (typeof DELAY_UNITS)[number]);
  const least = number(Math.floor(least_s / unit.size_s));
  const most = number(Math.ceil(most_s / unit.size_s));
  return least === most ? unit.say(most) : long.range(least, unit.say(most));
}

const FIGURE = /\u2212?\d(?:[\d,.:\u2013]*\d)?/g;

/** Cut a sentence into its words and its figures, so that figures can be set as such. */
export function figures(text: string): { text: string; figure: boolean }[] {
  const parts: { text: string; figure: boolean }[] = [];
  let at = 0;
  for (const found of text.matchAll(FIGURE)) {
    if (found.index > at) parts.push({ text: text.slice(at, found.index), figure: false });
    parts.push({ text: found[0], figure: true });
    at = found.index + found[0].length;
  }
  if (at < text.length) parts.push({ text: text.slice(at), figure: false });
  return parts;
}
