/**
 * The page as a value that changes: dives held, dive shown, playhead, connection.
 *
 * Rules: everything outside is passed in; it changes only by what a source delivers, by an action of the reader, or
 * by time passing in a frame; every change raises the flags of what it touched.
 */

import { chaptersOf } from './chapters';
import type { DiveEntry, DiveList, Integrity, Released } from './decode';
import type { Invitation } from './invitation';
import type { Moment } from './moment';
import { advance, follow, indexAt, pause, play, seek, setRate, shiftRate, START, type Playhead } from './playhead';
import type { Programme } from './programme';
import type { Listener, Source } from './source';
import { ALL, DATA, LINK, PLAYHEAD, TICK, type Action, type Connection, type Remark, type State } from './state';
import { Dive } from './store';
import type { Proof } from './trust';

export interface Surroundings {
  live(listener: Listener): Source;
  recording(entry: DiveEntry, audience: string, listener: Listener): Source;
  raise(flags: number): void;
  /** Keep the moment shown in the address; null for the newest dive's latest. `isNew`: going back returns from it. */
  remember(moment: Moment | null, isNew: boolean): void;
  /** The least time between two steps of a replay, in seconds. */
  leastStep_s(): number;
  /** Whoever follows is somebody's guest. */
  invited(invitation: Invitation): void;
}

export class Page implements Listener {
  private readonly dives_ = new Map<number, Dive>();
  private list: DiveList | null = null;
  private link: Connection = { is: 'connecting' };
  private playhead: Playhead = START;
  private readonly integrities = new Map<number, Integrity | 'unreachable'>();
  private readonly proofs = new Map<number, Proof>();
  private oddRecords = 0;
  private isProgrammeAltered = false;
  private guest: Invitation | null = null;
  private readonly tail: Source;
  private replay: { dive: number; source: Source } | null = null;
  private newest: number | null = null;
  private stepped_s = 0;
  private chosen: number | null;
  /** The moment of a link, until its dive is held. */
  private asked_s: number | null;
  private remark: Remark | null = null;
  private followers: number | null = null;
  private programme: Programme | null = null;

  /** `asked` is the moment of a link; null follows the newest dive. */
  constructor(private readonly around: Surroundings, asked: Moment | null) {
    this.chosen = asked?.dive ?? null;
    this.asked_s = asked?.at_s ?? null;
    this.tail = around.live(this);
    this.tail.start();
  }

  get state(): State {
    const dive = this.dive;
    return {
      expedition: dive?.header.expedition ?? this.list?.expedition ?? null,
      dives: this.list?.dives ?? [],
      listed: this.list !== null && this.link.is !== 'invitation ended',
      wanted: this.wanted,
      dive,
      live: dive !== null && dive.dive === this.newest,
      playhead: this.playhead,
      at: dive === null ? -1 : indexAt(dive.elapsed_s, dive.count, this.playhead.at_s),
      connection: this.link,
      integrity: this.wanted === null ? null : (this.integrities.get(this.wanted) ?? null),
      proof: this.wanted === null ? null : (this.proofs.get(this.wanted) ?? null),
      outOfTurn: this.oddRecords,
      invitation: this.guest,
      remark: this.remark,
      followers: this.followers,
      programme: this.programme,
      programmeAltered: this.isProgrammeAltered,
    };
  }

  /** Whose dives these are, as the site says; null before it does. */
  get audience(): string | null {
    return this.list?.audience ?? null;
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
    this.mustExist();
    this.fetchWanted();
    this.around.raise(DATA | LINK);
  }

  records(records: readonly Released[]): boolean {
    const all = records.every((record) => this.take(record));
    this.settle();
    return all;
  }

  integrity(dive: number, integrity: Integrity | 'unreachable'): void {
    this.integrities.set(dive, integrity);
    this.around.raise(ALL);
  }

  proof(dive: number, proof: Proof): void {
    this.proofs.set(dive, proof);
    this.around.raise(DATA | LINK);
  }

  withdraw(dive: number): void {
    this.dives_.delete(dive);
    if (this.newest === dive) this.newest = null;
    this.playhead = { ...START, rate: this.playhead.rate };
    this.around.raise(ALL);
  }

  outOfTurn(): void {
    this.oddRecords += 1;
    this.around.raise(LINK);
  }

  invitation(invitation: Invitation): void {
    if (this.guest === null) this.around.invited(invitation);
    this.guest = invitation;
    this.around.raise(LINK);
  }

  connection(connection: Connection): void {
    if (same(connection, this.link)) return;
    this.link = connection;
    // Not even which dives there are is a former guest's any more.
    if (connection.is === 'invitation ended' && this.list) this.list = { ...this.list, dives: [] };
    this.around.raise(LINK);
  }

  reset(): void {
    this.dives_.clear();
    this.integrities.clear();
    this.proofs.clear();
    this.newest = this.chosen = this.asked_s = null;
    this.playhead = START;
    this.around.raise(ALL);
  }

  /** Take how many follow, as the site tells it. */
  following(followers: number | null): void {
    if (followers === this.followers) return;
    this.followers = followers;
    this.around.raise(LINK);
  }

  /** Take what is to come, as the site tells it; nothing of what the ship didn't sign. */
  told(programme: Programme | 'altered'): void {
    this.isProgrammeAltered = programme === 'altered';
    this.programme = programme === 'altered' ? null : programme;
    this.around.raise(LINK);
  }

  /** Say so if the dive that was chosen isn't there, and show the newest. */
  private mustExist(): void {
    const { chosen, list } = this;
    if (chosen === null || !list || list.dives.some((entry) => entry.dive === chosen)) return;
    this.remark = { is: 'no such dive', dive: chosen };
    this.chosen = this.asked_s = null;
  }

  /** Show the moment of a link, paused, as soon as its dive is held; what isn't released yet can't be shown. */
  private settle(): void {
    const { asked_s, dive } = this;
    if (asked_s === null || !dive) return;
    this.asked_s = null;
    if (asked_s > dive.end_s && !dive.over) this.remark = { is: 'not yet', at_s: asked_s };
    else this.playhead = seek({ ...this.playhead, mode: 'paused' }, asked_s, dive.end_s);
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
    this.replay = { dive: entry.dive, source: this.around.recording(entry, this.list?.audience ?? '', this) };
    this.replay.source.start();
  }

  /* What the reader does. */

  act(action: Action): void {
    if (action.do === 'retry') this.tail.retry();
    else if (action.do === 'show') this.show(action.dive);
    else if (this.dive) this.move(action, this.dive);
    if (action.do !== 'retry') this.remark = null;
    this.remember(action.do === 'show' || action.do === 'follow');
    this.around.raise(PLAYHEAD | TICK | LINK);
  }

  private move(action: Action, dive: Dive): void {
    const end_s = dive.end_s;
    const { playhead } = this;
    if (action.do === 'toggle') this.playhead = this.toggled(dive);
    if (action.do === 'faster' || action.do === 'slower') this.playhead = shiftRate(playhead, action.do === 'faster' ? 1 : -1);
    if (action.do === 'skip') this.playhead = seek(playhead, playhead.at_s + action.by_s, end_s);
    if (action.do === 'earlier chapter' || action.do === 'later chapter') this.turn(dive, action.do === 'later chapter');
    if (action.do === 'seek') this.playhead = seek(playhead, action.at_s, end_s);
    if (action.do === 'step') this.playhead = seek(playhead, this.stepped(dive, action.ticks), end_s);
    if (action.do === 'play') this.playhead = play(playhead, end_s);
    if (action.do === 'pause') this.playhead = pause(playhead);
    if (action.do === 'rate') this.playhead = setRate(playhead, action.rate);
    if (action.do === 'follow') this.goLive();
  }

  /** Play or stay; live is playing, too, and at the live edge playing is following. */
  private toggled(dive: Dive): Playhead {
    const { playhead } = this;
    const isGoingOn = dive.dive === this.newest && !dive.over;
    if (playhead.mode === 'playing' || (playhead.mode === 'following' && isGoingOn)) return pause(playhead);
    if (isGoingOn && playhead.at_s >= dive.end_s) return follow(playhead, dive.end_s);
    return play(playhead, dive.end_s);
  }

  /** Go to where another chapter begins. */
  private turn(dive: Dive, isLater: boolean): void {
    const { playhead } = this;
    const begins_s = chaptersOf(dive).map((chapter) => chapter.at_s);
    const at_s = isLater ? begins_s.find((begin_s) => begin_s > playhead.at_s) : begins_s.findLast((begin_s) => begin_s < playhead.at_s);
    if (at_s !== undefined) this.playhead = seek(playhead, at_s, dive.end_s);
  }

  /** Keep what is shown in the address, but for a moment that passes by. */
  private remember(isNew: boolean): void {
    const { chosen, dive, playhead } = this;
    if (playhead.mode === 'paused' && dive) this.around.remember({ dive: dive.dive, at_s: playhead.at_s }, isNew);
    else if (playhead.mode === 'following') this.around.remember(chosen === null ? null : { dive: chosen, at_s: null }, isNew);
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

  /** Show what a link asks for: a moment, paused, or a dive. */
  open(asked: Moment | null): void {
    this.remark = null;
    if (asked !== null && this.list?.dives.every((entry) => entry.dive !== asked.dive)) {
      this.remark = { is: 'no such dive', dive: asked.dive };
    } else {
      this.show(asked?.dive ?? null);
      this.asked_s = asked?.at_s ?? null;
      this.settle();
    }
    this.around.raise(ALL);
  }

  /** Show a dive: the newest at its latest moment, another at its end. */
  show(dive: number | null): void {
    const before = this.wanted;
    this.chosen = dive === null || dive === this.newest ? null : dive;
    if (this.wanted === before) return;
    for (const held of [...this.dives_.keys()]) if (held !== this.newest && held !== this.wanted) this.dives_.delete(held);
    this.replay?.source.stop();
    this.replay = null;
    this.asked_s = null;
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
    if (this.playhead.mode !== 'playing') this.remember(false);
    const raise = PLAYHEAD | (this.state.at === before ? 0 : TICK) | (this.playhead.mode === 'playing' ? 0 : LINK | TICK);
    return { raise, more: this.playhead.mode === 'playing' };
  }
}

function same(one: Connection, other: Connection): boolean {
  return JSON.stringify(one) === JSON.stringify(other);
}
