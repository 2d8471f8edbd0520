/**
 * Numbers as people read them: the one place that knows units and rounding.
 *
 * Rules: input in SI units as named; a no-break space keeps number and unit together; they are
 * said in the units and the language in use.
 */

import { known, units, type Unit, type Units } from './units';
import { words } from './words';

const NBSP = '\u00a0';
interface Marks {
  readonly group: string;
  readonly decimal: string;
}
const known_ = new Map<string, Marks>();

/** The marks of the language in use, as the browser knows them; asked for once, since that is slow on a phone. */
function marks(): Marks {
  const found = known_.get(words.locale) ?? asked(words.locale);
  known_.set(words.locale, found);
  return found;
}

function asked(locale: string): Marks {
  const parts = new Intl.NumberFormat(locale, { useGrouping: true, minimumFractionDigits: 1 }).formatToParts(1_234_567.5);
  const mark = (type: string): string => parts.find((part) => part.type === type)?.value ?? '';
  return { group: mark('group'), decimal: mark('decimal') };
}

/** Format a number with at most `digits` decimals, grouped, with a true minus sign and never "-0". */
export function number(value: number, digits: 0 | 1 | 2 = 0): string {
  const scale = 10 ** digits;
  const rounded = Math.round(value * scale) / scale;
  const [whole = '', part] = String(Math.abs(rounded)).split('.');
  const grouped = whole.length > 3 ? whole.replace(/\B(?=(?:\d{3})+$)/g, marks().group) : whole;
  return `${rounded < 0 ? '\u2212' : ''}${grouped}${part === undefined ? '' : marks().decimal + part}`;
}

/** Say a value known in steps of `step`, both in SI units, in `unit`, without the unit's name. */
function inUnit(value: number, step: number, unit: Unit<string>): string {
  const told = known(value, step, unit);
  return number(told.value, told.step < 1 ? 1 : 0);
}

const named = (text: string, { name }: Units[keyof Units]): string => `${text}${NBSP}${words.units[name]}`;

/** Format a length on the plan; `step_m` is the step it is known in. */
export function length(length_m: number, step_m = 1): string {
  return named(inUnit(length_m, step_m, units.plan), units.plan);
}

/** Format a round length of a scale or grid, which is a whole number of the unit chosen, or a round part of one. */
export function exactLength(length_m: number): string {
  return named(round(length_m / units.plan.size), units.plan);
}

/** Format a depth; `step_m` is the step it is known in. */
export function depth(depth_m: number, step_m = 1): string {
  return named(depthFigure(depth_m, step_m), units.depth);
}

/** Format a depth without its unit, for a table whose heading names it. */
export function depthFigure(depth_m: number, step_m: number): string {
  return inUnit(depth_m, step_m, units.depth);
}

/** Format a length on the plan without its unit, for a table whose heading names it. */
export function lengthFigure(length_m: number, step_m: number): string {
  return inUnit(length_m, step_m, units.plan);
}

/** Format a depth that carries its sign where it is relative. */
export function signedDepth(depth_m: number, step_m: number, isRelative: boolean): string {
  return signed(depth(depth_m, step_m), depth_m, isRelative);
}

/** Format a round depth of an axis, without its unit. */
export function tick(depth_m: number): string {
  return round(depth_m / units.depth.size);
}

/** Format a round depth of an axis; relative ones carry their sign, and only the zero names the unit: names can be long. */
export function axisDepth(depth_m: number, isRelative: boolean): string {
  return depth_m === 0 ? named(tick(0), units.depth) : signed(tick(depth_m), depth_m, isRelative);
}

const signed = (text: string, depth_m: number, isRelative: boolean): string => (isRelative && depth_m > 0 ? `+${text}` : text);

const round = (value: number): string => number(value, Math.abs(value - Math.round(value)) > 0.001 ? 1 : 0);

/** Where areas begin to be said in the larger unit, in small ones. */
const LARGE = 100_000;

/** Format an area, known to two leading figures, in the smaller or the larger unit. */
export function area(area_m2: number): string {
  const small = coarse(area_m2 / units.area.size);
  if (small < LARGE) return named(number(small), units.area);
  const large = coarse(area_m2 / units.largeArea.size);
  return named(number(large, large < 1 ? 2 : large < 10 ? 1 : 0), units.largeArea);
}

/** Format a sum of coarse lengths on the plan, to two leading figures. */
export function coarseLength(length_m: number): string {
  return named(number(coarse(length_m / units.plan.size)), units.plan);
}

/** Round to two leading figures. */
export function coarse(value: number): number {
  return Number(value.toPrecision(2));
}

/** Below half a tenth nobody speaks of a speed; so it is told in steps of that, and in tenths where those are finer. */
const SPEED_STEP_MPS = 0.05;

/** Format a speed, given in metres per second. */
export function speed(speed_mps: number): string {
  return named(inUnit(speed_mps, SPEED_STEP_MPS, units.speed), units.speed);
}

/** Format an angle in degrees; half steps such as 22.5 keep their decimal. */
export function angle(angle_deg: number): string {
  return `${number(angle_deg, 1)}${words.units.degree}`;
}

/** Format a time span for reading: "1 h 12 min", "12 min", "45 s". */
export function span(time_s: number): string {
  const whole_s = Math.max(0, Math.floor(time_s));
  if (whole_s < 60) return `${whole_s}${NBSP}${words.units.second}`;
  const minutes = Math.floor(whole_s / 60);
  if (minutes < 60) return `${minutes}${NBSP}${words.units.minute}`;
  const rest = minutes % 60;
  const hours = `${number(Math.floor(minutes / 60))}${NBSP}${words.units.hour}`;
  return rest === 0 ? hours : `${hours}${NBSP}${rest}${NBSP}${words.units.minute}`;
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
  { upTo_s: 120, size_s: 1, say: (n: string) => words.long.second(n) },
  { upTo_s: 7_200, size_s: 60, say: (n: string) => words.long.minute(n) },
  { upTo_s: 172_800, size_s: 3_600, say: (n: string) => words.long.hour(n) },
  { upTo_s: Infinity, size_s: 86_400, say: (n: string) => words.long.day(n) },
];

/** Say a delay given by its bounds, never shorter nor narrower than it is: "45 to 55 minutes". */
export function delay(least_s: number, most_s: number): string {
  const unit = DELAY_UNITS.find(({ upTo_s }) => most_s < upTo_s) ?? (DELAY_UNITS[3] as (typeof DELAY_UNITS)[number]);
  const least = number(Math.floor(least_s / unit.size_s));
  const most = number(Math.ceil(most_s / unit.size_s));
  return least === most ? unit.say(most) : words.long.range(least, unit.say(most));
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
