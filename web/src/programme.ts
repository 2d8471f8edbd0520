/** What is to come, read from `programme.json`: bad bytes are no programme, a value of another kind is no value. */

import { unpacker } from './decode';

export interface Programme {
  readonly pinned: string | null;
  readonly schedule: readonly string[];
  /** About how long until that dive begins on this page; 0: soon; null: not told. */
  readonly left_s: number | null;
  /** The number of that dive: once it has begun nothing is counted. */
  readonly dive: number;
  /** Where to write to somebody ashore. */
  readonly questions: string | null;
}

const MOST_S = 1_209_600;
const isText = (value: unknown): value is string => typeof value === 'string' && value.length <= 1_000;
const isWhole = (value: unknown, most: number): value is number => Number.isSafeInteger(value) && (value as number) >= 0 && (value as number) <= most;

/** Read the file; null if it isn't one. */
export function programmeOf(bytes: Uint8Array): Programme | null {
  try {
    const { format, programme, questions_to } = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes)) as Record<string, unknown>;
    if (format !== 1) return null;
    const { pinned, schedule, next_dive_in_s, next_dive } = (programme ?? { schedule: [], next_dive: 0 }) as Record<string, unknown>;
    if (!Array.isArray(schedule) || schedule.length > 50 || !schedule.every(isText) || !isWhole(next_dive, 1e9)) return null;
    return {
      pinned: isText(pinned) ? pinned : null,
      schedule,
      left_s: isWhole(next_dive_in_s, MOST_S) ? next_dive_in_s : null,
      dive: next_dive,
      questions: isText(questions_to) && /^(https:\/\/|mailto:)/.test(questions_to) ? questions_to : null,
    };
  } catch {
    return null;
  }
}

const KIND = 6;

/** Whether something is told at all. */
export const isAnythingIn = ({ pinned, schedule, left_s }: Programme): boolean => pinned !== null || schedule.length > 0 || left_s !== null;

/** Read the record as the ship signed it, which lies in the file in base64; null where there is none that can be read. */
export function recordIn(bytes: Uint8Array): Uint8Array<ArrayBuffer> | null {
  try {
    const { record } = JSON.parse(new TextDecoder().decode(bytes)) as { record?: unknown };
    return typeof record === 'string' ? Uint8Array.from(atob(record), (letter) => letter.charCodeAt(0)) : null;
  } catch {
    return null;
  }
}

/**
 * Return the number of a programme's record if it says what `shown` does, null if not. A folder of files, which can't count
 * down, leaves out how long is left.
 */
export function numberOf(record: Uint8Array, { pinned, schedule, left_s, dive }: Programme): number | null {
  try {
    const [site, seq, kind, , body] = unpacker.decode(record) as unknown[];
    if (site !== 0 || kind !== KIND || !isWhole(seq, 1e9) || !Array.isArray(body)) return null;
    const said: unknown[] = [body[0], body[1], left_s === null ? null : body[2], body[3]];
    return JSON.stringify(said) === JSON.stringify([pinned, schedule, left_s, dive]) ? seq : null;
  } catch {
    return null;
  }
}
