/** Numbers as the desk reads them: exact, in the units of the trade. Pure; the followers' page has its own, coarse ones. */

import * as format from '../../src/format';
import { words } from './words';

const NBSP = '\u00a0';

/** Say a length, a depth or an altitude to a tenth of a metre. */
export const metres = (length_m: number): string => `${format.number(length_m, length_m >= 1_000 ? 0 : 1)}${NBSP}m`;

/** Say metres of which the fractions mean nothing. */
export const wholeMetres = (length_m: number): string => `${format.number(length_m)}${NBSP}m`;

/** Say a span as people say it: seconds below two minutes, then minutes, then hours. */
export function span(time_s: number): string {
  const whole_s = Math.max(0, Math.round(time_s));
  if (whole_s < 120) return `${whole_s}${NBSP}s`;
  const minutes = Math.round(whole_s / 60);
  if (minutes < 120) return `${minutes}${NBSP}min`;
  const rest = minutes % 60;
  return rest === 0 ? `${minutes / 60}${NBSP}h` : `${Math.floor(minutes / 60)}${NBSP}h${NBSP}${rest}${NBSP}min`;
}

export const angle = (angle_deg: number, digits: 0 | 1 = 1): string => `${format.number(angle_deg, digits)}${words.units.degrees}`;

/** Say a direction with three figures, as directions are said at sea. */
export const heading = (angle_deg: number): string => `${String(Math.round(angle_deg) % 360).padStart(3, '0')}${words.units.degrees}`;

/** Say a latitude and longitude in degrees and minutes to a thousandth of a minute, about two metres. */
export function place(latitude_deg: number, longitude_deg: number): string {
  return `${axis(latitude_deg, 2, 'N', 'S')} ${axis(longitude_deg, 3, 'E', 'W')}`;
}

function axis(value_deg: number, digits: number, positive: string, negative: string): string {
  const thousandths = Math.round(Math.abs(value_deg) * 60_000);
  const degrees = String(Math.floor(thousandths / 60_000)).padStart(digits, '0');
  const minutes = ((thousandths % 60_000) / 1_000).toFixed(3).padStart(6, '0');
  return `${degrees}${words.units.degrees}${NBSP}${minutes}′${NBSP}${value_deg < 0 ? negative : positive}`;
}

/** Say so many bytes or bits, with the decimal prefixes of the SI. */
export function size(count: number, units: readonly string[] = words.units.bytes): string {
  let [value, step] = [count, 0];
  while (value >= 1_000 && step < units.length - 1) [value, step] = [value / 1_000, step + 1];
  return `${format.number(value, value < 10 && step > 0 ? 1 : 0)}${NBSP}${units[step]}`;
}

export const rate = (bits_per_s: number): string => words.units.perSecond(size(bits_per_s, words.units.bits));
export const count = (value: number): string => format.number(value);
