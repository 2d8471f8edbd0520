/** What the page shows at an instant: the one value that every view draws from. */

import type { DiveEntry, Integrity } from './decode';
import type { Playhead } from './playhead';
import type { Programme } from './programme';
import type { Dive } from './store';
import type { Proof } from './trust';
import type { Invitation } from './invitation';

export type Connection =
  | { readonly is: 'connecting' | 'connected' | 'refused' | 'outdated' | 'recordings only' | 'no such audience' | 'invitation ended' | 'altered' }
  | { readonly is: 'delayed'; readonly silent_s: number }
  /** 'not invited': the site doesn't know the guest, now; `retry_s`: until the page asks again. */
  | { readonly is: 'disconnected' | 'full' | 'not invited'; readonly retry_s: number };

/** Why the moment of a link isn't the one shown. */
export type Remark =
  | { readonly is: 'no such dive'; readonly dive: number }
  | { readonly is: 'not yet'; readonly at_s: number };

export interface State {
  readonly expedition: string | null;
  readonly dives: readonly DiveEntry[];
  /** Whether the list of dives has been read at all. */
  readonly listed: boolean;
  /** The number of the dive that is to be shown; null before any. */
  readonly wanted: number | null;
  readonly dive: Dive | null;
  /** Whether that dive is the one the live tail feeds. */
  readonly live: boolean;
  readonly playhead: Playhead;
  /** The index of the tick shown; -1 before the first. */
  readonly at: number;
  readonly connection: Connection;
  /** For a recording: what its footer says of it. */
  readonly integrity: Integrity | 'unreachable' | null;
  /** Whether the dive shown is what the ship signed; null before it is known. */
  readonly proof: Proof | null;
  /** How many live records came twice, out of turn or not at all; what is shown is in order all the same. */
  readonly outOfTurn: number;
  /** Who was invited here; null of a page that is open to all. */
  readonly invitation: Invitation | null;
  readonly remark: Remark | null;
  /** How many follow, as far as the site tells. */
  readonly followers: number | null;
  /** What is to come, as far as the site tells. */
  readonly programme: Programme | null;
  /** Whether what came of what is to come isn't what the ship signed. */
  readonly programmeAltered: boolean;
}

export type Action =
  | { readonly do: 'seek'; readonly at_s: number }
  | { readonly do: 'step'; readonly ticks: number }
  | { readonly do: 'skip'; readonly by_s: number }
  | { readonly do: 'rate'; readonly rate: number }
  | { readonly do: 'show'; readonly dive: number }
  | { readonly do: 'play' | 'pause' | 'toggle' | 'follow' | 'retry' | 'earlier chapter' | 'later chapter' | 'faster' | 'slower' };

export type Act = (action: Action) => void;

/** What has changed since a view last drew. */
export const DATA = 1;
export const PLAYHEAD = 2;
export const LINK = 4;
export const SIZE = 8;
/** The playhead has come to another tick. */
export const TICK = 16;
/** The drawing in three dimensions was turned. */
export const TURN = 32;
export const ALL = 63;

export interface View {
  draw(state: State): void;
  destroy(): void;
}

/** Whether the state is a replay: a recording, or a moment of a dive that has moved on since. */
export function isReplay({ dive, live, playhead }: State): boolean {
  return dive !== null && (!live || playhead.mode !== 'following');
}

/** Whether the shown moment is the end of a dive that is over. */
export function isOver({ dive, playhead }: State): boolean {
  return dive !== null && dive.over && playhead.at_s >= dive.end_s;
}
