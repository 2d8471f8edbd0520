/**
 * A guest's link: `#guest=ID.SECRET` behind the page's address, which a browser sends to nobody.
 *
 * Rules: pure; the token is taken out of the address as soon as it is read, is never part of another link, and lasts as long as
 * the tab, unless the guest asks for more; whom the site doesn't know as a guest is shown nothing.
 */

/** What the site says of whoever holds the token. */
export interface Invitation {
  readonly audience: string;
  /** The last day, as written; null without an end. */
  readonly until: string | null;
}

/** Where this page asks who it is. */
export const GUEST_PATH = 'guest.json';

/** Read a guest's token from the part of an address that begins with `#`; null where there is none. */
export function tokenOf(hash: string): string | null {
  const token = new URLSearchParams(hash.replace(/^#/, '')).get('guest');
  return token !== null && /^[A-Za-z0-9_-]{1,64}\.[A-Za-z0-9_-]{1,128}$/.test(token) ? token : null;
}

const isText = (value: unknown, most: number): value is string => typeof value === 'string' && value.length <= most;

/** Read what the site says; null if it says nothing that can be understood. */
export function invitationOf(bytes: Uint8Array): Invitation | null {
  try {
    const { format, audience, until } = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes)) as Record<string, unknown>;
    if (format !== 1 || !isText(audience, 100)) return null;
    return { audience, until: isText(until, 40) ? until : null };
  } catch {
    return null;
  }
}
