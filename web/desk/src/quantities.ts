/**
 * What people type, read as quantities; null where it isn't one.
 *
 * Rules: pure; a number without a unit of time is minutes, as people at a desk say it; a place is two numbers in degrees,
 * or degrees and minutes with their letters; a comma may stand for a decimal point only where it can't part two numbers.
 */

const UNITS_S: Readonly<Record<string, number>> = { s: 1, sec: 1, m: 60, min: 60, h: 3_600 };

/** Read "12", "12 min", "1 h 30 min", "90 s" as seconds. */
export function seconds(text: string): number | null {
  const written = text.trim().toLowerCase();
  if (/^\d+(?:[.,]\d+)?$/.test(written)) return Number(written.replace(',', '.')) * 60;
  const parts = [...written.matchAll(/(\d+(?:[.,]\d+)?)\s*(sec|s|min|m|h)\s*/g)];
  if (parts.length === 0 || parts.map(([whole]) => whole).join('').trim() !== written) return null;
  return parts.reduce((sum, [, figure = '', unit = '']) => sum + Number(figure.replace(',', '.')) * (UNITS_S[unit] ?? 0), 0);
}

/** Read a number, a comma standing for the decimal point. */
export function numeral(text: string): number | null {
  const written = text.trim().replace('\u2212', '-').replace(',', '.');
  return /^[-+]?\d+(?:\.\d+)?$/.test(written) ? Number(written) : null;
}

const ANGLE = /^(-?\d+(?:\.\d+)?)(?:[°\s]\s*(\d+(?:\.\d+)?)\s*['′]?|\s*°)?\s*([NSEW])?$/i;

/** Read "61 30.5 N, 3 12.25 E" or "61.508, 3.204" as latitude and longitude in degrees. */
export function place(text: string): readonly [number, number] | null {
  const written = text.trim().replaceAll('\u2212', '-').split(/\s*[,;]\s*/);
  if (written.length !== 2) return null;
  const latitude = angle(written[0] ?? '', 'NS', 90);
  const longitude = angle(written[1] ?? '', 'EW', 180);
  return latitude === null || longitude === null ? null : [latitude, longitude];
}

function angle(text: string, letters: string, most: number): number | null {
  const found = ANGLE.exec(text.trim());
  if (!found) return null;
  const [, degrees = '', minutes = '0', letter = ''] = found;
  if (!letters.includes(letter.toUpperCase()) || Number(minutes) >= 60) return null;
  if (degrees.startsWith('-') && (letter !== '' || minutes !== '0')) return null;
  const size = Number(degrees) + Number(minutes) / 60;
  const signed = letter !== '' && letter.toUpperCase() === letters[1] ? -size : size;
  return Math.abs(signed) <= most ? signed : null;
}
