/**
 * Where records come from: the live tail, or a recording. Both have one interface, so replay is no second program.
 *
 * Rules: a source delivers records of a dive in their order, each once; whoever listens may refuse (a gap), and the
 * source then fetches the history. Of what isn't what the ship signed nothing is delivered from the first bad record on: what
 * comes to a dive that is shown is checked before, live or not; a dive as it is first read in the background, and what of
 * it is bad is taken back. A damaged recording is checked first.
 */

import { wait_s } from './backoff';
import { decodeDives, decodeFrame, Refused, type DiveEntry, type DiveList, type Integrity, type Released } from './decode';
import { GUEST_PATH, invitationOf, type Invitation } from './invitation';
import { readRecording, type DigestEngine, type Reading } from './reading';
import type { Connection } from './state';
import { openTail, type Ports, type Refetch, type Tail, type Taken } from './transport';
import type { Proof } from './trust';
import { Witness, type Proving } from './witness';

export interface Listener {
  dives(list: DiveList): void;
  /** Take records in order; false if they don't follow what is held. */
  records(records: readonly Released[]): boolean;
  integrity(dive: number, integrity: Integrity | 'unreachable'): void;
  /** Whether a dive is what the ship signed. */
  proof(dive: number, proof: Proof): void;
  /** A dive is not what the ship signed from its very begin: forget it. */
  withdraw(dive: number): void;
  /** A live record came twice, out of turn or not at all, and it was put right. */
  outOfTurn(): void;
  invitation(invitation: Invitation): void;
  connection(connection: Connection): void;
  /** The relay's dives are not the ones held: forget them. */
  reset(): void;
}

export interface Source {
  start(): void;
  retry(): void;
  stop(): void;
}

/** What can be an audience's name: a part of a path that leads nowhere else. */
const AUDIENCE = /^[a-z][a-z0-9-]{0,39}$/;

export const isAudience = (name: string): boolean => AUDIENCE.test(name);

/** What a source needs besides the world: a digest, what signatures are checked with, and who asks. */
export interface Means {
  readonly digest: DigestEngine;
  readonly proving: Proving;
  /** Whether whoever follows was invited: the site then says for which audience. */
  readonly isGuest: boolean;
}

type NoList = 'no such audience' | 'not invited';

class Live implements Source {
  private tail: Tail | null = null;
  private cursor: { dive: number; seq: number } | null = null;
  private tick_s: number | null = null;
  private audience = 'public';
  private witness: Witness | null = null;
  private readonly witnesses = new Map<number, Witness>();
  /** The dive read last that is being checked in the background: one after the other, each to its end. */
  private checking: Promise<unknown> | null = null;
  /** What of the live tail is being checked, in its order; a later era ignores what is still on its way. */
  private line: Promise<Taken> = Promise.resolve('new');
  private era = 0;
  /** Whether a guest has yet to be known: each asking counts as a visit. */
  private isStranger = true;

  /** `asked` is the open audience whose dives are wanted; null for those that the site shows first. */
  constructor(
    private readonly ports: Ports,
    private readonly means: Means,
    private readonly listener: Listener,
    private asked: string | null,
  ) {}

  start(): void {
    this.tail = openTail(this.ports, {
      history: () => this.history(),
      path: () => this.path(),
      take: (bytes) => this.take(bytes),
      behind: () => this.behind(),
      due_s: () => this.tick_s,
      tell: (connection) => this.tell(connection),
      isGuest: this.means.isGuest,
      fileOnly: async () => (await this.ports.read(this.path())).status === 404,
    });
  }

  retry(): void {
    this.tail?.retry();
  }

  stop(): void {
    this.tail?.close();
    this.era += 1;
    for (const witness of this.witnesses.values()) witness.end();
  }

  private tell(connection: Connection): void {
    if (connection.is === 'invitation ended') this.listener.reset();
    this.listener.connection(connection);
  }

  private path(): string {
    const resume = this.cursor ? `&dive=${this.cursor.dive}&after=${this.cursor.seq}` : '';
    return `live?audience=${encodeURIComponent(this.audience)}${resume}`;
  }

  private async list(): Promise<DiveList | NoList | null> {
    const turnedAway = this.means.isGuest && this.isStranger ? await this.introduce() : null;
    if (turnedAway !== null) return turnedAway === 'failed' ? null : turnedAway;
    if (this.asked !== null && !isAudience(this.asked)) return 'no such audience';
    const answer = await this.ports.read(this.asked === null ? 'dives.json' : `recordings/${this.asked}/dives.json`);
    if (this.asked !== null && answer.status === 404) return this.means.isGuest ? 'not invited' : 'no such audience';
    const list = answer.status === 200 ? decodeDives(answer.bytes) : new Refused('no list');
    return list instanceof Refused ? null : list;
  }

  /** Ask the site for whom it takes whoever holds this token. */
  private async introduce(): Promise<'not invited' | 'failed' | null> {
    const { status, bytes } = await this.ports.read(GUEST_PATH);
    if (status === 404) return 'not invited';
    const invitation = status === 200 ? invitationOf(bytes) : null;
    if (invitation === null) return 'failed';
    this.asked = invitation.audience;
    this.isStranger = false;
    this.listener.invitation(invitation);
    return null;
  }

  private async history(): Promise<Refetch> {
    this.era += 1;
    const list = await this.list();
    if (list === null) return 'failed';
    if (typeof list === 'string') return list;
    this.audience = this.asked ?? list.audience;
    this.listener.dives(list);
    const newest = list.dives[list.dives.length - 1];
    if (this.cursor && this.cursor.dive > (newest?.dive ?? 0)) this.forget();
    return newest ? this.catchUp(newest) : 'read';
  }

  private forget(): void {
    this.cursor = this.tick_s = this.witness = null;
    this.listener.reset();
  }

  private async catchUp(newest: DiveEntry): Promise<Refetch> {
    const { era } = this;
    const witness = this.witnessOf(newest.dive);
    const held = this.cursor?.dive === newest.dive ? this.cursor.seq + 1 : 0;
    if (held > 0 && held >= newest.records) return this.stand(witness);
    const read = await readRecording(this.ports, newest, this.means.digest);
    if (typeof read === 'string') return read;
    if (era !== this.era) return 'failed';
    if (newest.closed) this.listener.integrity(newest.dive, read.integrity);
    const first = read.records[0];
    if (held === 0 && first?.kind === 'dive') {
      this.witness = witness;
      if (!witness.begin(first.header, this.audience)) return this.cut(witness, read, 0);
    }
    if (witness.isSigned && read.flaw !== null) return this.flawed(witness, read, read.flaw, newest.closed);
    if (read.flaw !== null) return newest.closed ? 'read' : 'failed';
    if (held > 0) return this.goOn(witness, read, held);
    void this.check(witness, read);
    return this.deliver(read.records) ? 'read' : 'failed';
  }

  /** Deliver what a dive has besides the `held` records that are shown of it, once it is checked. */
  private async goOn(witness: Witness, read: Reading, held: number): Promise<Refetch> {
    const { era } = this;
    const bad = await witness.firstBad(read.frames.slice(held));
    if (era !== this.era || !this.deliver(read.records.slice(held, bad === null ? undefined : held + bad))) return 'failed';
    if (bad === null) return this.stand(witness);
    witness.falls(held + bad, 'signature');
    return 'altered';
  }

  private stand(witness: Witness): 'read' {
    witness.again();
    witness.stands();
    return 'read';
  }

  private witnessOf(dive: number): Witness {
    const witness = this.witnesses.get(dive) ?? witnessOf(dive, this.ports, this.means, this.listener);
    this.witnesses.set(dive, witness);
    return witness;
  }

  /** A recording that can't be as it was made: show what of it the ship signed, up to its flaw. */
  private async flawed(witness: Witness, read: Reading, flaw: number, isClosed: boolean): Promise<Refetch> {
    const seq = await soundUpTo(witness, read, flaw, isClosed);
    return seq === null ? 'read' : this.cut(witness, read, seq);
  }

  /** Check a recording that is shown already, and take back what of it is bad. */
  private async check(witness: Witness, read: Reading): Promise<void> {
    const finding = witness.firstBad(read.frames, this.checking);
    this.checking = finding;
    const bad = await finding;
    if (bad === null) return witness.stands();
    witness.falls(bad, 'signature');
    this.cut(witness, read, bad);
    this.tail?.alter();
  }

  /** Show what comes before record `seq`, and nothing else of that dive. */
  private cut({ dive }: Witness, { records }: Reading, seq: number): 'altered' {
    this.era += 1;
    if (seq === 0) this.listener.withdraw(dive);
    else this.listener.records(records.slice(0, seq));
    if (this.cursor === null || this.cursor.dive <= dive) this.cursor = seq === 0 ? null : { dive, seq: seq - 1 };
    return 'altered';
  }

  private deliver(records: readonly Released[]): boolean {
    if (records.length > 0 && !this.listener.records(records)) return false;
    for (const record of records) {
      if (record.kind === 'dive') this.tick_s = record.header.tick_s;
      if (record.kind === 'end') this.tick_s = null;
      this.cursor = { dive: record.dive, seq: record.seq };
    }
    return true;
  }

  private take(bytes: Uint8Array): Taken | Promise<Taken> {
    const record = decodeFrame(bytes);
    const before = this.witness;
    if (record instanceof Refused) return before?.isAble ? this.inLine(before, before, bytes, null) : 'gap';
    if (record.kind !== 'dive') return before?.isAble ? this.inLine(before, before, bytes, record) : this.accept(record);
    if (record.dive <= Math.max(before?.dive ?? 0, this.cursor?.dive ?? 0)) return this.pass();
    const witness = (this.witness = this.witnessOf(record.dive));
    if (!witness.begin(record.header, this.audience)) return this.fall(witness, before, 0);
    return witness.isAble ? this.inLine(witness, before, bytes, record) : this.accept(record);
  }

  /** Check a live frame, and take it after those before it; null: one that can't be read. */
  private inLine(witness: Witness, before: Witness | null, bytes: Uint8Array, record: Released | null): Promise<Taken> {
    const { era } = this;
    const passing = witness.passes(bytes);
    this.line = this.line.then(async () => {
      const passes = await passing;
      if (era !== this.era) return 'known';
      if (!passes) return this.fall(witness, before, record?.seq ?? (this.cursor?.seq ?? -1) + 1);
      const taken = record === null ? 'gap' : this.accept(record);
      if (taken === 'new') witness.stands();
      return taken;
    });
    return this.line;
  }

  private accept(record: Released): Taken {
    const { cursor } = this;
    if (cursor && (record.dive < cursor.dive || (record.dive === cursor.dive && record.seq <= cursor.seq))) return this.pass();
    if (cursor && record.dive === cursor.dive && record.seq > cursor.seq + 1) this.listener.outOfTurn();
    return this.deliver([record]) ? 'new' : 'gap';
  }

  /** A record that is held already, or whose dive was before. */
  private pass(): 'known' {
    this.listener.outOfTurn();
    return 'known';
  }

  /** A live frame isn't what the ship signed: it isn't shown, and nothing after it is taken. */
  private fall(witness: Witness, before: Witness | null, seq: number): 'known' {
    this.era += 1;
    witness.falls(seq, 'signature');
    if (seq === 0) this.witness = before;
    this.tail?.alter();
    return 'known';
  }

  private async behind(): Promise<boolean | 'failed'> {
    const list = await this.list();
    if (list === null || typeof list === 'string') return 'failed';
    const newest = list.dives[list.dives.length - 1];
    if (!newest) return this.cursor !== null;
    const { dive, seq } = this.cursor ?? { dive: 0, seq: -1 };
    return newest.dive !== dive || newest.records > seq + 1;
  }
}

function witnessOf(dive: number, ports: Ports, { proving }: Means, listener: Listener): Witness {
  return new Witness(dive, ports, proving, (number, proof) => listener.proof(number, proof));
}

/**
 * Tell that a recording is flawed; return up to where it can be shown all the same, null: none of it, for nothing can be
 * checked, and its digest says that something was changed.
 */
async function soundUpTo(witness: Witness, read: Reading, flaw: number, isClosed: boolean): Promise<number | null> {
  if (!witness.isAble && isClosed) return null;
  const bad = await witness.firstBad(read.frames);
  const isSigned = bad === null || bad >= flaw;
  const seq = isSigned ? flaw : bad;
  witness.falls(seq, isSigned ? 'missing' : 'signature');
  return seq;
}

class Recorded implements Source {
  private stopped = false;
  private attempt = 0;
  private cancelTimer = (): void => {};
  private readonly witness: Witness;

  constructor(
    private readonly ports: Ports,
    private readonly entry: DiveEntry,
    private readonly audience: string,
    private readonly means: Means,
    private readonly listener: Listener,
  ) {
    this.witness = witnessOf(entry.dive, ports, means, listener);
  }

  start(): void {
    void this.read();
  }

  retry(): void {
    this.cancelTimer();
    void this.read();
  }

  stop(): void {
    this.stopped = true;
    this.witness.end();
    this.cancelTimer();
  }

  private async read(): Promise<void> {
    const read = await readRecording(this.ports, this.entry, this.means.digest).catch((): 'failed' => 'failed');
    if (this.stopped) return;
    if (read === 'outdated') this.listener.connection({ is: 'outdated' });
    else if (read === 'failed') this.later();
    else await this.take(read);
  }

  private async take(read: Reading): Promise<void> {
    const { witness, listener } = this;
    const first = read.records[0];
    const isBegun = first?.kind !== 'dive' || witness.begin(first.header, this.audience);
    if (read.flaw !== null && !witness.isSigned && !this.entry.closed) return this.later();
    listener.integrity(this.entry.dive, read.integrity);
    if (!isBegun) return this.cut(read, 0);
    if (read.flaw !== null && witness.isSigned) {
      const seq = await soundUpTo(witness, read, read.flaw, this.entry.closed);
      return seq === null ? undefined : this.cut(read, seq);
    }
    if (read.flaw !== null) return;
    listener.records(read.records);
    const bad = await witness.firstBad(read.frames);
    if (bad === null) return witness.stands();
    witness.falls(bad, 'signature');
    this.cut(read, bad);
  }

  private cut({ records }: Reading, seq: number): void {
    if (this.stopped) return;
    if (seq === 0) this.listener.withdraw(this.entry.dive);
    else this.listener.records(records.slice(0, seq));
  }

  private later(): void {
    this.listener.integrity(this.entry.dive, 'unreachable');
    this.cancelTimer = this.ports.after(wait_s(this.attempt, this.ports.chance()), () => void this.read());
    this.attempt += 1;
  }
}

/** Follow the newest dive as it is released, to the site's first audience or to the one that is asked for. */
export const liveSource = (ports: Ports, means: Means, listener: Listener, asked: string | null = null): Source => new Live(ports, means, listener, asked);

/** Read one recording, which must be of `audience`. */
export const recordingSource = (ports: Ports, entry: DiveEntry, audience: string, means: Means, listener: Listener): Source =>
  new Recorded(ports, entry, audience, means, listener);
