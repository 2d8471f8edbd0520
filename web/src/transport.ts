/**
 * The live tail as bytes: history, socket, silence, back-off.
 *
 * Rules: socket, fetch, timers, clock and chance are passed in (`Ports`); what the bytes mean is for whoever
 * opened the tail; there is at most one socket and one timer; a tail that was closed does nothing more.
 *
 *     phase     event                       next
 *     reading   history is read             opening
 *     reading   history fails               waiting
 *     reading   no such audience            stopped: no such audience
 *     reading   a guest it doesn't know     waiting, long
 *     opening   socket opens                open
 *     opening   closed, or too slow         waiting
 *     open      frame taken, or known       open
 *     open      frame refused (a gap)       reading
 *     open      silence, list has more      reading
 *     open      silence, list unreadable    waiting
 *     either    closed 4000 or 4001         reading, after a moment of chance
 *     either    closed 4002 or 4003         stopped: refused; a guest's: waiting
 *     either    closed 4005                 stopped: invitation ended
 *     any       told that it was altered    stopped: altered
 *     altered   asked                       reading
 *     either    closed otherwise            waiting
 *     waiting   the wait is over, or asked  reading
 */

import { wait_s } from './backoff';
import type { Connection } from './state';

export interface Answer {
  readonly status: number;
  readonly bytes: Uint8Array<ArrayBuffer>;
}
export interface SocketEvents {
  opened(): void;
  frame(bytes: Uint8Array<ArrayBuffer>): void;
  closed(code: number): void;
}
/** The world outside: everything that a test replaces. Paths are relative to the page. */
export interface Ports {
  /** Fetch a file; rejects where there is no answer at all. */
  read(path: string): Promise<Answer>;
  /** Open a websocket; the result closes it, after which no event follows. */
  open(path: string, events: SocketEvents): () => void;
  /** Call `run` once, `delay_s` from now; the result prevents it. */
  after(delay_s: number, run: () => void): () => void;
  now_s(): number;
  /** A random number in [0, 1). */
  chance(): number;
}

export type Refetch = 'read' | 'failed' | 'outdated' | 'no such audience' | 'not invited' | 'altered';
/** What became of a frame: it was new, or nothing new, or something before it is missing. */
export type Taken = 'new' | 'known' | 'gap';
export interface TailOptions {
  /** Bring everything up to date by files. */
  history(): Promise<Refetch>;
  /** The socket's path, resuming after what is already held. */
  path(): string;
  /** Take one frame, at once or when it has been checked; a gap asks for the history. */
  take(bytes: Uint8Array<ArrayBuffer>): Taken | Promise<Taken>;
  /** Ask whether more was released than is held. */
  behind(): Promise<boolean | 'failed'>;
  /** Seconds between frames while a dive is on; null when none is due. */
  due_s(): number | null;
  tell(connection: Connection): void;
  /** Whether whoever follows was invited: a site that has just begun may not know of that yet. */
  readonly isGuest: boolean;
  /** Ask whether this site has no live tail at all (a folder of recordings). */
  fileOnly(): Promise<boolean>;
}
export interface Tail {
  retry(): void;
  /** Take nothing more from whoever altered what the ship sent, until asked to try again. */
  alter(): void;
  close(): void;
}

const BEAT_S = 1;
const OPENING_MOST_S = 15;
/** A connection that lasted this long was a good one: the next wait is short again. */
const STEADY_S = 30;
const SILENCE_FIRST_S = 60;
const SILENCE_MOST_S = 300;
const HISTORY_FIRST = 4000;
const TOO_SLOW = 4001;
const REFUSED = [4002, 4003];
const INVITATION_ENDED = 4005;
const FULL = 1013;
/** How long a guest whom the site doesn't know waits at least: each time that it is asked is a wrong token to it. */
const UNKNOWN_S = 60;

class LiveTail implements Tail {
  private phase: 'reading' | 'opening' | 'open' | 'waiting' | 'altered' | 'stopped' = 'reading';
  private attempt = 0;
  private everOpen = false;
  private why: 'disconnected' | 'full' | 'not invited' = 'disconnected';
  private since_s = 0;
  private opened_s = 0;
  private checked_s = SILENCE_FIRST_S;
  private retryAt_s = 0;
  private turn = 0;
  private cancelTimer = (): void => {};
  private closeSocket = (): void => {};

  constructor(private readonly ports: Ports, private readonly options: TailOptions) {}

  start(): void {
    this.options.tell({ is: 'connecting' });
    void this.readHistory();
  }

  retry(): void {
    if (this.phase === 'waiting' || this.phase === 'altered') void this.readHistory();
  }

  alter(): void {
    if (this.phase === 'stopped') return;
    this.enter('altered');
    this.options.tell({ is: 'altered' });
  }

  close(): void {
    this.enter('stopped');
  }

  /** Leave whatever was going on; answers that arrive for an earlier turn are ignored. */
  private enter(phase: LiveTail['phase']): number {
    this.cancelTimer();
    this.closeSocket();
    this.cancelTimer = this.closeSocket = () => {};
    this.phase = phase;
    this.since_s = this.ports.now_s();
    this.turn += 1;
    return this.turn;
  }

  private async readHistory(): Promise<void> {
    const turn = this.enter('reading');
    const result = await this.options.history().catch((): Refetch => 'failed');
    if (turn !== this.turn) return;
    this.why = result === 'not invited' ? result : 'disconnected';
    if (result === 'failed' || result === 'not invited') this.wait();
    else if (result === 'altered') this.alter();
    else if (result !== 'read') this.stop(result);
    else this.openSocket();
  }

  private openSocket(): void {
    const turn = this.enter('opening');
    const current = () => turn === this.turn;
    this.closeSocket = this.ports.open(this.options.path(), {
      opened: () => current() && this.opened(),
      frame: (bytes) => current() && this.frame(bytes),
      closed: (code) => current() && this.closed(code),
    });
    this.beat();
  }

  private opened(): void {
    this.phase = 'open';
    this.everOpen = true;
    this.why = 'disconnected';
    this.since_s = this.opened_s = this.ports.now_s();
    this.checked_s = SILENCE_FIRST_S * (1 + this.ports.chance() / 2);
    this.options.tell({ is: 'connected' });
  }

  private frame(bytes: Uint8Array<ArrayBuffer>): void {
    const taken = this.options.take(bytes);
    const { turn } = this;
    if (typeof taken === 'string') this.taken(taken);
    else void taken.then((later) => turn === this.turn && this.taken(later));
  }

  /** Only what is new is a sign that the line is good. */
  private taken(taken: Taken): void {
    if (taken === 'gap') this.again();
    if (taken !== 'new') return;
    this.attempt = 0;
    this.since_s = this.ports.now_s();
    this.options.tell({ is: 'connected' });
  }

  private closed(code: number): void {
    if (this.phase === 'open' && this.ports.now_s() - this.opened_s > STEADY_S) this.attempt = 0;
    this.why = code === FULL ? 'full' : 'disconnected';
    if (code === INVITATION_ENDED) this.stop('invitation ended');
    else if (REFUSED.includes(code) && !this.options.isGuest) this.stop('refused');
    else if (code === HISTORY_FIRST || code === TOO_SLOW) this.again();
    else if (this.everOpen || this.why === 'full') this.wait();
    else void this.neverOpened();
  }

  private async neverOpened(): Promise<void> {
    const turn = this.enter('opening');
    const fileOnly = await this.options.fileOnly().catch(() => false);
    if (turn !== this.turn) return;
    if (fileOnly) this.stop('recordings only');
    else this.wait();
  }

  /** Fetch the history, a moment of chance later: whoever was dropped was not dropped alone. */
  private again(): void {
    this.enter('reading');
    const delay_s = wait_s(this.attempt, this.ports.chance());
    this.attempt += 1;
    this.cancelTimer = this.ports.after(delay_s, () => void this.readHistory());
  }

  private wait(): void {
    this.enter('waiting');
    const chance = this.ports.chance();
    this.retryAt_s = this.ports.now_s() + (this.why === 'not invited' ? UNKNOWN_S * (1 + chance) : wait_s(this.attempt, chance));
    this.attempt += 1;
    this.beat();
  }

  private stop(is: 'outdated' | 'no such audience' | 'invitation ended' | 'refused' | 'recordings only'): void {
    this.enter('stopped');
    this.options.tell({ is });
  }

  /** Once a second: count down, notice silence. */
  private beat(): void {
    if (this.phase === 'waiting') this.countDown();
    else if (this.phase === 'open') this.listen();
    else if (this.phase === 'opening' && this.ports.now_s() - this.since_s > OPENING_MOST_S) this.wait();
    else this.beatLater();
  }

  private beatLater(): void {
    this.cancelTimer();
    this.cancelTimer = this.ports.after(BEAT_S, () => this.beat());
  }

  private countDown(): void {
    const retry_s = Math.max(0, this.retryAt_s - this.ports.now_s());
    this.options.tell({ is: this.why, retry_s });
    if (retry_s === 0) void this.readHistory();
    else this.beatLater();
  }

  private listen(): void {
    const silent_s = this.ports.now_s() - this.since_s;
    const due_s = this.options.due_s();
    if (due_s !== null && silent_s > Math.max(3 * due_s, 10)) this.options.tell({ is: 'delayed', silent_s });
    this.beatLater();
    if (silent_s < this.checked_s) return;
    this.checked_s = silent_s + Math.min(SILENCE_MOST_S, silent_s);
    void this.check();
  }

  private async check(): Promise<void> {
    const turn = this.turn;
    const behind = await this.options.behind().catch((): 'failed' => 'failed');
    if (turn !== this.turn) return;
    if (behind === 'failed') this.wait();
    else if (behind) void this.readHistory();
  }
}

/** Follow the live tail until it is closed. */
export function openTail(ports: Ports, options: TailOptions): Tail {
  const tail = new LiveTail(ports, options);
  tail.start();
  return tail;
}
