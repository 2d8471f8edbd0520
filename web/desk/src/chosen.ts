/**
 * The interval chosen on the time ribbon: a mark, and where an interval was opened, the end that stays.
 *
 * Rules: pure; what is chosen is fixed in time while now runs on; a mark nobody has moved is always now; nothing
 * before `from_us`, which is out everywhere, and nothing after now can be newly chosen.
 */

export interface Interval {
  readonly from_us: number;
  readonly to_us: number;
}

export interface Chosen {
  /** The end in hand; null while it is now. */
  readonly mark_us: number | null;
  /** The other end; null while there is no interval. */
  readonly stays_us: number | null;
}

/** What can be chosen, and how far one press of an arrow key goes. */
export interface Reach extends Interval {
  readonly step_us: number;
}

export interface Press {
  readonly key: string;
  readonly shift: boolean;
}

export const NONE: Chosen = { mark_us: null, stays_us: null };

/** Presses of an arrow key in one of Page Up or Page Down. */
const PAGE = 12;
const STEPS: Readonly<Record<string, number>> = {
  ArrowLeft: -1,
  ArrowDown: -1,
  ArrowRight: 1,
  ArrowUp: 1,
  PageDown: -PAGE,
  PageUp: PAGE,
};

export const within = (at_us: number, { from_us, to_us }: Interval): number => Math.min(Math.max(at_us, from_us), to_us);

export const markOf = (chosen: Chosen, now_us: number): number => chosen.mark_us ?? now_us;

/** Return the interval chosen, null while there is none. */
export function intervalOf({ mark_us, stays_us }: Chosen): Interval | null {
  if (mark_us === null || stays_us === null || mark_us === stays_us) return null;
  return { from_us: Math.min(mark_us, stays_us), to_us: Math.max(mark_us, stays_us) };
}

/** Return the choice of an interval as given, its end in hand. */
export function chosenOf({ from_us, to_us }: Interval): Chosen {
  return { mark_us: to_us, stays_us: from_us };
}

/** Return what is chosen after a press; 'cut' where it asks for that; null where the press means nothing here. */
export function pressed(chosen: Chosen, press: Press, reach: Reach): Chosen | 'cut' | null {
  if (press.key === 'Delete') return intervalOf(chosen) ? 'cut' : chosen;
  if (press.key === 'Escape') return { mark_us: chosen.mark_us, stays_us: null };
  if (press.key === ' ') return chosen.stays_us === null ? chosen : { mark_us: chosen.stays_us, stays_us: chosen.mark_us };
  const at_us = markOf(chosen, reach.to_us);
  const to_us = goalOf(press.key, at_us, reach);
  if (to_us === null) return null;
  return { mark_us: to_us, stays_us: chosen.stays_us ?? (press.shift ? within(at_us, reach) : null) };
}

function goalOf(key: string, at_us: number, reach: Reach): number | null {
  if (key === 'Home') return reach.from_us;
  if (key === 'End') return reach.to_us;
  const steps = STEPS[key];
  if (steps === undefined) return null;
  const goal_us = at_us + steps * reach.step_us;
  // An end that the slowest edge has passed stays where it is, until somebody moves it.
  return steps < 0 ? Math.max(goal_us, Math.min(at_us, reach.from_us)) : within(goal_us, reach);
}

export type End = 'mark' | 'stays';

/** Return which end of the interval lies within `slop_us` of a moment, the nearer one; null where none does. */
export function grabbed(chosen: Chosen, at_us: number, slop_us: number): End | null {
  if (!intervalOf(chosen)) return null;
  const away = { mark: Math.abs(at_us - (chosen.mark_us ?? NaN)), stays: Math.abs(at_us - (chosen.stays_us ?? NaN)) };
  const nearer = away.mark <= away.stays ? 'mark' : 'stays';
  return away[nearer] <= slop_us ? nearer : null;
}

/** Return the choice with which a drag from a moment begins: an end taken up again, or a new interval opened there. */
export function takenUp(chosen: Chosen, at_us: number, slop_us: number, reach: Reach): Chosen {
  const end = grabbed(chosen, at_us, slop_us);
  if (end === 'mark') return chosen;
  if (end === 'stays') return { mark_us: chosen.stays_us, stays_us: chosen.mark_us };
  const start_us = within(Math.round(at_us), reach);
  return { mark_us: start_us, stays_us: start_us };
}

/** Return the choice with its end in hand drawn to a moment. */
export function drawnTo(chosen: Chosen, at_us: number, reach: Reach): Chosen {
  return { ...chosen, mark_us: within(Math.round(at_us), reach) };
}
