/**
 * What a key does on the page.
 *
 * Rules: pure; where the keyboard's focus is decides first, so that no key is taken from a control; a letter works
 * only while the focus is in none, and only while keys are switched on (WCAG 2.2, 2.1.4); keys with Ctrl, Alt or Meta
 * are the browser's.
 */

import { SKIP_S } from './playhead';
import type { Action } from './state';

export interface Press {
  readonly key: string;
  readonly shift: boolean;
  /** Ctrl, Alt or Meta. */
  readonly other: boolean;
  /** Held down and repeated. */
  readonly repeat: boolean;
}

/** Where the focus is: on the page itself, on something that is pressed, or in something with keys of its own. */
export type Focus = 'page' | 'button' | 'field';

const ARROWS: Readonly<Record<string, -1 | 1>> = { ArrowLeft: -1, ArrowRight: 1 };
const LETTERS: Readonly<Record<string, Action | 'copy'>> = {
  ' ': { do: 'toggle' },
  p: { do: 'earlier chapter' },
  n: { do: 'later chapter' },
  l: { do: 'follow' },
  b: { do: 'seek', at_s: 0 },
  f: { do: 'faster' },
  s: { do: 'slower' },
  c: 'copy',
};

/** Return what a press asks for; null leaves it to the browser. */
export function keyed({ key, shift, other, repeat }: Press, focus: Focus, isOn: boolean): Action | 'copy' | null {
  if (other || focus === 'field' || !isOn) return null;
  const way = ARROWS[key];
  if (way !== undefined) return shift ? { do: 'skip', by_s: way * SKIP_S } : { do: 'step', ticks: way };
  if (focus !== 'page' || shift || repeat) return null;
  return LETTERS[key.toLowerCase()] ?? null;
}

/** Return what a press asks for on the time ribbon, a slider with the keys of one. */
export function keyedOnRibbon({ key, other }: Press, end_s: number): Action | null {
  if (other) return null;
  const steps: Readonly<Record<string, Action>> = {
    ArrowLeft: { do: 'step', ticks: -1 },
    ArrowDown: { do: 'step', ticks: -1 },
    ArrowRight: { do: 'step', ticks: 1 },
    ArrowUp: { do: 'step', ticks: 1 },
    PageDown: { do: 'skip', by_s: -SKIP_S },
    PageUp: { do: 'skip', by_s: SKIP_S },
    Home: { do: 'seek', at_s: 0 },
    End: { do: 'seek', at_s: end_s },
    ' ': { do: 'toggle' },
  };
  return steps[key] ?? null;
}
