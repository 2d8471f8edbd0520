/**
 * The page as a value that changes: dives held, dive shown, playhead, connection.
 *
 * Rules: everything outside is passed in; it changes only by what a source delivers, by an action of the reader, or
 * by time passing in a frame; every change raises the flags of what it touched.
 */

import type { DiveEntry, DiveList, Integrity, Released } from './decode';
import { advance, follow, indexAt, pause, play, seek, setRate, START, type Playhead } from './playhead';
import type { Listener, Source } from './source';
import { ALL, DATA, LINK, PLAYHEAD, TICK, type Action, type Connection, type State } from './state';
import { Dive } from './store';

export interface Surroundings {
  live(listener: Listener): Source;
  recording(entry: DiveEntry, listener: Listener): Source;
  raise(flags: number): void;
  /** Keep the chosen dive where a link can be copied from; null for the newest. */
  remember(dive: number | null): void;
  /** The least time between two steps of a replay, in seconds. */
  leastStep_s(): number;
}

export class Page implements Listener {
  private readonly dives_ = new Map<number, Dive>();
  private list: DiveList | null = null;
  private link: Connection = { is: 'connecting' };
  private playhead: Playhead = START;
  private readonly integrities = new Map<number, Integrity | 'unreachable'>();
  private readonly tail: Source;
  private replay: { dive: number; source: Source } | null = null;
  private newest: number | null = null;
  private stepped_s = 0;

  /** `chosen` is the dive asked for; null follows the newest. */
  constructor(private readonly around: Surroundings, private chosen: number | null) {
    this.tail = around.live(this);
    this.tail.start();
  }

  get state(): State {
    const dive = this.dive;
    return {
      expedition: dive?.header.expedition ?? this.list?.expedition ?? null,
      dives: this.list?.dives ?? [],
      listed: this.list !== null,
      wanted: this.wanted,
      dive,
      live: dive !== null && dive.dive === this.newest,
      playhead: this.playhead,
      at: dive === null ? -1 : indexAt(dive.elapsed_s, dive.count, this.playhead.at_s),
      connection: this.link,
      integrity: this.wanted === null ? null : (this.integrities.get(this.wanted) ?? null),
    };
  }

  private get wanted(): number | null {
    return this.chosen ?? this.newest ?? this.list?.dives.at(-1)?.dive ?? null;
  }

  private get dive(): Dive | null {
    return this.wanted === null ? null : (this.dives_.get(this.wanted) ?? null);
  }

  /* What sources deliver. */

  dives(list: DiveList): void {
    this.list = list;
    if (this.chosen !== null && !list.dives.some((entry) => entry.dive === this.chosen)) this.chosen = null;
    this.fetchWanted();
    this.around.raise(DATA | LINK);
  }

  records(records: readonly Released[]): boolean {
    return records.every((record) => this.take(record));
  }

  integrity(dive: number, integrity: Integrity | 'unreachable'): void {
    this.integrities.set(dive, integrity);
    this.around.raise(ALL);
  }

  connection(connection: Connection): void {
    if (same(connection, this.link)) return;
    this.link = connection;
    this.around.raise(LINK);
  }

  reset(): void {
    this.dives_.clear();
    this.integrities.clear();
    this.newest = this.chosen = null;
    this.playhead = START;
    this.around.raise(ALL);
  }

  private take(record: Released): boolean {
    if (record.kind === 'dive') return this.begin(new Dive(record.dive, record.header));
    const dive = this.dives_.get(record.dive);
    if (!dive || dive.append(record) !== 'taken') return false;
    if (record.kind === 'end') this.noteList(dive, true);
    if (dive === this.dive) this.moved(dive);
    this.around.raise(dive === this.dive ? DATA : LINK);
    return true;
  }

  private begin(dive: Dive): boolean {
    const before = this.dive;
    this.dives_.set(dive.dive, dive);
    if (this.replay?.dive !== dive.dive) {
      if (before && this.newest !== null && this.playhead.mode !== 'following') this.chosen ??= before.dive;
      this.newest = Math.max(dive.dive, this.newest ?? 0);
      this.noteList(dive, false);
    }
    if (dive === this.dive && dive !== before) this.playhead = { ...this.playhead, ...START, rate: this.playhead.rate };
    this.around.raise(ALL);
    return true;
  }

  /** Keep the list of dives true while the tail tells of beginnings and ends. */
  private noteList({ dive, header }: Dive, closed: boolean): void {
    const list = this.list ?? { expedition: header.expedition, audience: header.audience, dives: [] };
    const known = list.dives.find((entry) => entry.dive === dive);
    if (known && (known.closed || !closed)) return;
    const recording = known?.recording ?? '';
    const others = list.dives.filter((entry) => entry.dive !== dive);
    const dives = [...others, { dive, closed, records: known?.records ?? 0, recording }].sort((one, other) => one.dive - other.dive);
    this.list = { ...list, dives };
  }

  private moved(dive: Dive): void {
    if (this.playhead.mode === 'following') this.playhead = follow(this.playhead, dive.end_s);
  }

  /** Fetch the recording of the dive that is wanted, unless it is held or the tail brings it. */
  private fetchWanted(): void {
    const { wanted } = this;
    const entry = this.list?.dives.find(({ dive }) => dive === wanted);
    const tailBrings = entry === this.list?.dives.at(-1) && this.newest === null;
    if (!entry || this.dive || this.replay?.dive === wanted || tailBrings) return;
    this.replay?.source.stop();
    this.replay = { dive: entry.dive, source: this.around.recording(entry, this) };
    this.replay.source.start();
  }

  /* What the reader does. */

  act(action: Action): void {
    if (action.do === 'retry') this.tail.retry();
    else if (action.do === 'show') this.show(action.dive);
    else if (this.dive) this.move(action, this.dive);
    if (action.do === 'show' || action.do === 'follow') this.around.remember(this.chosen);
    this.around.raise(PLAYHEAD | TICK | LINK);
  }

  private move(action: Action, dive: Dive): void {
    const end_s = dive.end_s;
    const { playhead } = this;
    if (action.do === 'seek') this.playhead = seek(playhead, action.at_s, end_s);
    if (action.do === 'step') this.playhead = seek(playhead, this.stepped(dive, action.ticks), end_s);
    if (action.do === 'play') this.playhead = play(playhead, end_s);
    if (action.do === 'pause') this.playhead = pause(playhead);
    if (action.do === 'rate') this.playhead = setRate(playhead, action.rate);
    if (action.do === 'follow') this.goLive();
    const notes_s = dive.notes.map((note) => note.elapsed_s);
    const earlier_s = notes_s.filter((at_s) => at_s < playhead.at_s).at(-1);
    const later_s = notes_s.find((at_s) => at_s > playhead.at_s);
    if (action.do === 'earlier note' && earlier_s !== undefined) this.playhead = seek(playhead, earlier_s, end_s);
    if (action.do === 'later note' && later_s !== undefined) this.playhead = seek(playhead, later_s, end_s);
  }

  private stepped(dive: Dive, ticks: number): number {
    const i = indexAt(dive.elapsed_s, dive.count, this.playhead.at_s) + ticks;
    if (i >= dive.count) return dive.end_s;
    return dive.elapsed_s[Math.max(0, i)] ?? 0;
  }

  private goLive(): void {
    if (this.newest !== null) this.show(this.newest);
    if (this.dive) this.playhead = follow(this.playhead, this.dive.end_s);
  }

  /** Show a dive: the newest at its latest moment, another at its end. */
  show(dive: number | null): void {
    const before = this.wanted;
    this.chosen = dive === null || dive === this.newest ? null : dive;
    if (this.wanted === before) return;
    for (const held of [...this.dives_.keys()]) if (held !== this.newest && held !== this.wanted) this.dives_.delete(held);
    this.replay?.source.stop();
    this.replay = null;
    this.playhead = { ...START, rate: this.playhead.rate, at_s: this.dive?.end_s ?? 0 };
    this.fetchWanted();
    this.around.raise(ALL);
  }

  /** Let time pass. */
  step(passed_s: number): { raise: number; more: boolean } {
    const { dive, playhead } = this;
    if (!dive || playhead.mode !== 'playing') {
      this.stepped_s = 0;
      return { raise: 0, more: false };
    }
    this.stepped_s += passed_s;
    if (this.stepped_s < this.around.leastStep_s()) return { raise: 0, more: true };
    const before = this.state.at;
    this.playhead = advance(playhead, this.stepped_s, dive.end_s, dive.over || dive.dive !== this.newest);
    this.stepped_s = 0;
    const raise = PLAYHEAD | (this.state.at === before ? 0 : TICK) | (this.playhead.mode === 'playing' ? 0 : LINK | TICK);
    return { raise, more: this.playhead.mode === 'playing' };
  }
}

function same(one: Connection, other: Connection): boolean {
  return JSON.stringify(one) === JSON.stringify(other);
}
