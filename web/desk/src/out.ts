/**
 * How much of an interval is already out at each audience, in words.
 *
 * Rules: pure; what came before an audience's edge is out there, what came after isn't; audiences of which the same
 * is to be said are named together.
 */

import type { Interval } from './chosen';
import { drawn } from './drawn_words';
import { exactly, US } from './spans';

export interface Edge {
  readonly name: string;
  readonly edge_us: number;
}

/** Return how much of the interval, from its beginning on, is out at an audience. */
export function out_us({ from_us, to_us }: Interval, edge_us: number): number {
  return Math.min(Math.max(edge_us - from_us, 0), to_us - from_us);
}

function outWords(interval: Interval, edge_us: number): string {
  const part_us = out_us(interval, edge_us);
  if (part_us >= interval.to_us - interval.from_us) return drawn.out.all;
  // A part below half a second would be said as none, although a record may be in it: one second is the least said.
  return part_us === 0 ? drawn.out.none : drawn.out.first(exactly(Math.max(part_us, US)));
}

/** Say what of the interval is out: "public: none of it is out; funders: the first 40 s is." */
export function outAt(interval: Interval, audiences: readonly Edge[]): string {
  const said = new Map<string, string[]>();
  for (const { name, edge_us } of audiences) {
    const what = outWords(interval, edge_us);
    said.set(what, [...(said.get(what) ?? []), name]);
  }
  const parts = [...said].map(([what, names]) => drawn.out.of(drawn.list(names), what));
  return parts.length === 0 ? '' : `${parts.join('; ')}.`;
}

/** Tell whether a cut of the interval would still take something away from somebody. */
export function canStillCut(interval: Interval, audiences: readonly Edge[]): boolean {
  return audiences.some(({ edge_us }) => edge_us < interval.to_us);
}
