/**
 * What a key does at the desk.
 *
 * Rules: pure; the stop works from everywhere, also while somebody types, and is a function key that neither browsers
 * nor text use (with a second one for keyboards without function keys); every other key only goes somewhere, decides
 * nothing, works only while nobody types, and can be switched off (WCAG 2.2, 2.1.4).
 */

export interface Press {
  readonly key: string;
  readonly code: string;
  readonly ctrl: boolean;
  readonly shift: boolean;
  /** Alt or Meta. */
  readonly other: boolean;
}

/** Where a key leads. */
export const PLACES = {
  h: 'hold',
  c: 'cut',
  d: 'dive',
  r: 'ribbon',
  s: 'say',
  w: 'waiting',
  t: 'targets',
  n: 'finds',
  l: 'legs',
  z: 'zones',
  e: 'early',
  o: 'out',
  p: 'programme',
  a: 'promises',
  f: 'feeds',
  u: 'uplink',
  i: 'guests',
  j: 'decisions',
  k: 'keys',
} as const satisfies Readonly<Record<string, string>>;

export type PlaceName = (typeof PLACES)[keyof typeof PLACES];
export type Keyed = { readonly do: 'stop' } | { readonly do: 'go'; readonly to: PlaceName } | { readonly do: 'leave' };

/** Return what a press asks for; null leaves it to the browser. */
export function keyed({ key, code, ctrl, shift, other }: Press, isTyping: boolean, lettersOn: boolean): Keyed | null {
  if (other) return null;
  if (key === 'F8' && !ctrl && !shift) return { do: 'stop' };
  if (code === 'Space' && ctrl && shift) return { do: 'stop' };
  if (ctrl || shift) return null;
  if (isTyping) return key === 'Escape' ? { do: 'leave' } : null;
  const to = Object.hasOwn(PLACES, key) ? PLACES[key as keyof typeof PLACES] : undefined;
  return to === undefined || !lettersOn ? null : { do: 'go', to };
}

/** Return the letter that leads to a place, as it is shown. */
export function letterOf(place: PlaceName): string {
  const found = Object.entries(PLACES).find(([, to]) => to === place);
  return (found?.[0] ?? '').toUpperCase();
}
