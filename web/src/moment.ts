/**
 * A moment of a dive, as it stands in a link: `#dive=2&at=1234`, the audience whose page it is, and the ship's key.
 *
 * Rules: pure; what isn't understood is left out, so that a mangled link still opens the page.
 */

import { keyOf } from './seal';

export interface Moment {
  readonly dive: number;
  /** Dive time; null is the latest. */
  readonly at_s: number | null;
}

/** Read the part of an address that begins with `#`; null where it names no dive. */
export function momentOf(hash: string): Moment | null {
  const given = new URLSearchParams(hash.replace(/^#/, ''));
  const dive = given.get('dive') ?? '';
  const at = given.get('at') ?? '';
  if (!/^[1-9]\d{0,8}$/.test(dive)) return null;
  return { dive: Number(dive), at_s: /^\d{1,8}(\.\d{1,6})?$/.test(at) ? Number(at) : null };
}

/** Read the ship's key from the part of an address that begins with `#`; null where it holds none. */
export const linkedKey = (hash: string): string | null => keyOf(new URLSearchParams(hash.replace(/^#/, '')).get('key')?.toLowerCase());

/** Write a moment, and the key that a link came with, as the end of a link, to the tenth of a second; '' for neither. */
export function hashOf(moment: Moment | null, key: string | null = null): string {
  if (moment === null) return key === null ? '' : `#key=${key}`;
  const at = moment.at_s === null ? '' : `&at=${Number(moment.at_s.toFixed(1))}`;
  return `#dive=${moment.dive}${at}${key === null ? '' : `&key=${key}`}`;
}

/** Return the audience that an address asks for (`?audience=NAME`); null for the page's own. */
export function audienceOf(search: string): string | null {
  return new URLSearchParams(search).get('audience');
}
