/**
 * Which key a dive must be signed with, and what became of checking it.
 *
 * Rules: a key in the link outranks the one that this browser has kept of the site, and that outranks the dive's own; a
 * dive's own key proves only that one hand signed all of it. A key is kept once something was checked with it, and
 * another one never replaces it by itself.
 */

export type Basis =
  /** The key of the link. */
  | 'link'
  /** The key kept from an earlier visit. */
  | 'kept'
  /** The dive's own, and no other is known. */
  | 'first'
  /** The dive's own, though another is kept. */
  | 'changed';

export type Proof =
  | { readonly is: 'checking' | 'signed'; readonly basis: Basis; readonly key: string }
  /** This page isn't served securely, or this browser is too old: nothing could be checked. */
  | { readonly is: 'unchecked'; readonly why: 'insecure' | 'browser'; readonly basis: Basis; readonly key: string }
  /** A dive without signatures; `known`: this site's dives were signed before. */
  | { readonly is: 'unsigned'; readonly known: boolean }
  /** What came from record `seq` on isn't what the ship signed, so it isn't shown. */
  | { readonly is: 'altered'; readonly seq: number; readonly why: 'signature' | 'missing' | 'link' };

/** What this browser knows of the ship's key before a dive is read. */
export interface Trust {
  /** The key of the link; null if it has none. */
  readonly linked: string | null;
  /** The key kept from an earlier visit, or from earlier in this one. */
  kept(): string | null;
  keep(key: string): void;
}

/** Judge a dive by the key that its first record names; null: it names none. */
export function proofOf(named: string | null, { linked, kept }: Pick<Trust, 'linked' | 'kept'>): Proof {
  if (linked !== null) return named === linked ? { is: 'checking', basis: 'link', key: linked } : { is: 'altered', seq: 0, why: 'link' };
  const known = kept();
  if (named === null) return { is: 'unsigned', known: known !== null };
  return { is: 'checking', basis: known === null ? 'first' : known === named ? 'kept' : 'changed', key: named };
}

/** Trust that lasts as long as the page, for what is kept nowhere. */
export function brieflyTrusting(linked: string | null): Trust {
  let held: string | null = null;
  return { linked, kept: () => held, keep: (key) => (held = key) };
}
