/**
 * The line to the ship: one stream of states, and the tracks every few seconds.
 *
 * Rules: the network and the timers are passed in; a stream that says nothing for `SILENT_S` is given up; after a loss
 * the next try waits longer and longer, and what is shown says so; a wrong token ends the trying, since it stays wrong;
 * a tab that is hidden for `HIDDEN_S` hangs up, since a browser opens only a few lines for all its tabs, and the stop
 * needs one.
 */

import { wait_s, type Backoff } from '../../src/backoff';
import { Misread } from './reading';
import { readState, readTracks, type State, type Tracks } from './state';
import { Lines, Overlong } from './stream';

export const SILENT_S = 4;
export const TRACKS_S = 5;
export const HIDDEN_S = 10;
export const BACKOFF: Backoff = { first_s: 0.5, most_s: 8 };

export type Lost = 'unreachable' | 'silent' | 'ended' | 'refused' | 'misread';
export type Line =
  | { readonly kind: 'asking' }
  | { readonly kind: 'heard' }
  | { readonly kind: 'lost'; readonly why: Lost; readonly detail: string; readonly again_at_s: number }
  /** The line was closed from here, since nobody looks. */
  | { readonly kind: 'resting' }
  | { readonly kind: 'barred' };

export interface LinkPorts {
  /** Ask for the stream; hand on its chunks until it ends; return the status that it was answered with. */
  stream(path: string, take: (chunk: Uint8Array) => void, ended: AbortSignal): Promise<number>;
  read(path: string): Promise<{ readonly status: number; readonly value: unknown }>;
  after(delay_s: number, run: () => void): () => void;
  now_s(): number;
  chance(): number;
}

export interface Heard {
  line(line: Line): void;
  state(state: State): void;
  tracks(tracks: Tracks): void;
  /** The tracks can't be read, for a reason. */
  misread(why: string): void;
}

/** Lets a line rest while its tab is hidden. */
export class Rest {
  private stopWaiting: () => void = () => undefined;

  constructor(private readonly after: LinkPorts['after'], private readonly link: () => Pick<Link, 'rest' | 'wake'> | null) {}

  /** The tab was hidden, or shown again. */
  hidden(isHidden: boolean): void {
    this.stopWaiting();
    if (isHidden) this.stopWaiting = this.after(HIDDEN_S, () => this.link()?.rest());
    else this.link()?.wake();
  }
}

export class Link {
  private attempt = 0;
  private isClosed = false;
  private isResting = false;
  private stopWaiting: () => void = () => undefined;
  private giveUp: () => void = () => undefined;
  private stopTracks: () => void = () => undefined;

  constructor(private readonly ports: LinkPorts, private readonly heard: Heard) {}

  /** Connect, and stay connected until closed. */
  open(): void {
    this.isClosed = this.isResting = false;
    this.stopWaiting();
    this.heard.line({ kind: 'asking' });
    void this.follow();
    this.stopTracks();
    void this.askTracks();
  }

  /** Try at once instead of waiting. */
  now(): void {
    this.attempt = 0;
    this.open();
  }

  close(): void {
    this.isClosed = true;
    this.isResting = false;
    this.stopWaiting();
    this.stopTracks();
    this.giveUp();
  }

  /** Hang up until `wake`: a tab that nobody looks at takes no line that another needs for its stop. */
  rest(): void {
    if (this.isClosed) return;
    this.close();
    this.isResting = true;
    this.heard.line({ kind: 'resting' });
  }

  wake(): void {
    if (this.isResting) this.now();
  }

  private async follow(): Promise<void> {
    const aborted = new AbortController();
    let why: { lost: Lost; detail: string } = { lost: 'ended', detail: '' };
    let stopWatch: () => void = () => undefined;
    const watch = (): void => {
      stopWatch();
      stopWatch = this.ports.after(SILENT_S, () => {
        why = { lost: 'silent', detail: '' };
        aborted.abort();
      });
    };
    this.giveUp();
    this.giveUp = () => {
      why = { lost: 'ended', detail: 'closed' };
      aborted.abort();
    };
    const lines = new Lines();
    watch();
    const take = (chunk: Uint8Array): void => {
      watch();
      try {
        for (const line of lines.push(chunk)) this.take(line);
      } catch (fault) {
        why = { lost: 'misread', detail: faultIn(fault) };
        aborted.abort();
      }
    };
    try {
      const status = await this.ports.stream('/stream', take, aborted.signal);
      if (status === 401 || status === 403) why = { lost: 'refused', detail: '' };
      else if (status !== 200) why = { lost: 'unreachable', detail: String(status) };
    } catch {
      if (!aborted.signal.aborted) why = { lost: 'unreachable', detail: '' };
    }
    stopWatch();
    if (why.detail !== 'closed') this.lose(why.lost, why.detail);
  }

  private take(line: string): void {
    const state = readState(JSON.parse(line));
    this.attempt = 0;
    this.heard.line({ kind: 'heard' });
    this.heard.state(state);
  }

  private lose(why: Lost, detail: string): void {
    if (this.isClosed) return;
    if (why === 'refused') {
      this.close();
      this.heard.line({ kind: 'barred' });
      return;
    }
    const wait = wait_s(this.attempt, this.ports.chance(), BACKOFF);
    this.attempt += 1;
    this.heard.line({ kind: 'lost', why, detail, again_at_s: this.ports.now_s() + wait });
    this.stopWaiting = this.ports.after(wait, () => this.open());
  }

  private async askTracks(): Promise<void> {
    try {
      const { status, value } = await this.ports.read('/tracks');
      if (status === 200 && !this.isClosed) this.heard.tracks(readTracks(value));
    } catch (fault) {
      // That the ship is away, the stream says; but tracks that can't be read are nobody else's to tell.
      if (fault instanceof Misread) this.heard.misread(fault.message);
    }
    if (this.isClosed) return;
    this.stopTracks();
    this.stopTracks = this.ports.after(TRACKS_S, () => void this.askTracks());
  }
}

function faultIn(fault: unknown): string {
  if (fault instanceof Misread) return fault.message;
  return fault instanceof Overlong ? 'overlong' : String(fault);
}
