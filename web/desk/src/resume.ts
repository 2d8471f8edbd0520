/**
 * Resuming, and whether a stop still stands.
 *
 * Rules: pure; a resume says which holds its desk had seen, so that the ship can refuse one that would undo a hold
 * nobody here knew of; all audiences together are never resumed past the edge of the declared area: that is done by name.
 */

import type { Decision } from './forms';
import type { Audience } from './state';
import type { Stop } from './stop';

type Held = Pick<Audience, 'name' | 'held' | 'held_row' | 'outside'>;

/** Return the decision to resume one audience, or all (null), as the page shows them. */
export function resume(audience: string | null, audiences: readonly Held[]): Decision {
  const rows = audiences.filter(({ name }) => audience === null || name === audience).flatMap(({ held_row }) => held_row ?? []);
  return { do: 'resume', audience, ...(rows.length === 0 ? {} : { seen: Math.max(...rows) }) };
}

/** Return the audiences that stay stopped when all are resumed. */
export const staysStopped = (audiences: readonly Held[]): readonly Held[] => audiences.filter(({ outside }) => outside !== null);

/** How a stop that was taken stands: 'awaited' until the ship has shown it in force, 'undone' once it isn't any more. */
export type Standing = 'awaited' | 'stands' | 'undone';

/** A state of so long after the stop was taken shows what became of it, even if none before did. */
const GRACE_S = 1;

/** Remembers whether a stop has been seen in force. */
export class Watched {
  private at_s: number | null = null;
  private wasSeen = false;

  /** Return how `stop` stands by a state of the moment `of_s`, on the page's clock. */
  standing(stop: Stop, audiences: readonly Held[], of_s: number): Standing {
    const at_s = stop.kind === 'taken' ? stop.at_s : null;
    if (at_s !== this.at_s) [this.at_s, this.wasSeen] = [at_s, false];
    if (at_s === null || audiences.length === 0) return 'awaited';
    const isHeld = audiences.every(({ held }) => held);
    this.wasSeen ||= isHeld;
    if (isHeld) return 'stands';
    return this.wasSeen || of_s > at_s + GRACE_S ? 'undone' : 'awaited';
  }
}
