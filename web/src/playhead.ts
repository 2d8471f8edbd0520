/**
 * Which moment of the dive is shown.
 *
 * Rules: pure; times are dive time in seconds; the playhead never runs past what was released; playing that
 * reaches the end follows a dive that goes on, and stops at the end of one that is over.
 */

export const RATES = [1, 5, 20, 60, 120] as const;
/** A long step, in seconds of dive time. */
export const SKIP_S = 300;

export interface Playhead {
  readonly at_s: number;
  readonly mode: 'following' | 'paused' | 'playing';
  readonly rate: number;
}

export const START: Playhead = { at_s: 0, mode: 'following', rate: 60 };

/** Show the latest moment, and keep to it as more comes. */
export function follow(playhead: Playhead, end_s: number): Playhead {
  return { ...playhead, mode: 'following', at_s: end_s };
}

/** Show the moment `at_s`, kept within the dive; playing goes on from there. */
export function seek(playhead: Playhead, at_s: number, end_s: number): Playhead {
  const mode = playhead.mode === 'playing' ? 'playing' : 'paused';
  return { ...playhead, mode, at_s: Math.min(Math.max(at_s, 0), end_s) };
}

/** Play from the moment shown, or from the start if that is the end. */
export function play(playhead: Playhead, end_s: number): Playhead {
  return { ...playhead, mode: 'playing', at_s: playhead.at_s >= end_s ? 0 : playhead.at_s };
}

/** Stay at the moment shown. */
export function pause(playhead: Playhead): Playhead {
  return { ...playhead, mode: 'paused' };
}

/** Play `rate` times as fast as the dive went. */
export function setRate(playhead: Playhead, rate: number): Playhead {
  return { ...playhead, rate };
}

/** Play at the next faster rate, or the next slower. */
export function shiftRate(playhead: Playhead, way: -1 | 1): Playhead {
  const others = RATES.filter((rate) => (rate - playhead.rate) * way > 0);
  const rate = way > 0 ? others[0] : others[others.length - 1];
  return rate === undefined ? playhead : { ...playhead, rate };
}

/** Let `passed_s` of real time pass. */
export function advance(playhead: Playhead, passed_s: number, end_s: number, over: boolean): Playhead {
  if (playhead.mode === 'following') return playhead.at_s === end_s ? playhead : { ...playhead, at_s: end_s };
  if (playhead.mode === 'paused') return playhead;
  const at_s = playhead.at_s + passed_s * playhead.rate;
  if (at_s < end_s) return { ...playhead, at_s };
  return { ...playhead, at_s: end_s, mode: over ? 'paused' : 'following' };
}

/** Return the index of the last of `elapsed_s[0..count)` (never falling) at or before `at_s`; -1 if none. */
export function indexAt(elapsed_s: ArrayLike<number>, count: number, at_s: number): number {
  let low = 0;
  let high = count;
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((elapsed_s[middle] as number) <= at_s) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}
