/** What a panel is given to show, and what it may ask for. */

import type { Answer, Finding } from './answers';
import type { Decision } from './forms';
import type { Line } from './link';
import type { State, Tracks } from './state';
import type { Stop } from './stop';

/** Everything the desk shows, at one moment. */
export interface Shown {
  readonly state: State;
  readonly tracks: Tracks | null;
  /** Why the tracks can't be read; null where they can. */
  readonly misread: string | null;
  readonly line: Line;
  readonly stop: Stop;
  readonly now_s: number;
  /** How long ago the ship was as it is shown. */
  readonly age_s: number;
}

/** What the desk can have done. */
export interface Hands {
  decide(decision: Decision): Promise<Answer>;
  /** What is found in a text; null where nobody answers. */
  check(text: string, audiences: readonly string[], isProgramme: boolean): Promise<readonly Finding[] | null>;
  stop(): void;
  /** The stop that is offered, from long ago, isn't wanted any more. */
  dismissStop(): void;
  /** The ship's own moment, as near as it is known; never ahead of it. */
  now_us(): number;
  after(delay_s: number, run: () => void): () => void;
  /** Copy a text for pasting elsewhere; false where that can't be done. */
  copy(text: string): Promise<boolean>;
}

export interface Panel {
  draw(shown: Shown): void;
}
