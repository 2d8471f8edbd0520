/**
 * Where records come from: the live tail, or a recording. Both have one interface, so replay is no second program.
 *
 * Rules: a source delivers records of a dive in their order, each once; whoever listens may refuse (a gap), and the
 * source then fetches the history; a damaged recording delivers nothing.
 */

import { wait_s } from './backoff';
import { checkRecording, decodeDives, decodeFrame, decodeRecording, Refused, type DiveEntry, type DiveList, type Integrity, type Released } from './decode';
import type { Connection } from './state';
import { openTail, type Ports, type Refetch, type Tail } from './transport';

export interface Listener {
  dives(list: DiveList): void;
  /** Take records in order; false if they don't follow what is held. */
  records(records: readonly Released[]): boolean;
  integrity(dive: number, integrity: Integrity | 'unreachable'): void;
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

type DigestEngine = Parameters<typeof checkRecording>[2];

class Live implements Source {
  private tail: Tail | null = null;
  private cursor: { dive: number; seq: number } | null = null;
  private tick_s: number | null = null;
  private audience = 'public';

  /** `asked` is the open audience whose dives are wanted; null for those that the site shows first. */
  constructor(
    private readonly ports: Ports,
    private readonly digest: DigestEngine,
    private readonly listener: Listener,
    private readonly asked: string | null,
  ) {}

  start(): void {
    this.tail = openTail(this.ports, {
      history: () => this.history(),
      path: () => this.path(),
      take: (bytes) => this.take(bytes),
      behind: () => this.behind(),
      due_s: () => this.tick_s,
      tell: (connection) => this.listener.connection(connection),
      fileOnly: async () => (await this.ports.read(this.path())).status === 404,
    });
  }

  retry(): void {
    this.tail?.retry();
  }

  stop(): void {
    this.tail?.close();
  }

  private path(): string {
    const resume = this.cursor ? `&dive=${this.cursor.dive}&after=${this.cursor.seq}` : '';
    return `live?audience=${encodeURIComponent(this.audience)}${resume}`;
  }

  private async list(): Promise<DiveList | 'no such audience' | null> {
    if (this.asked !== null && !isAudience(this.asked)) return 'no such audience';
    const answer = await this.ports.read(this.asked === null ? 'dives.json' : `recordings/${this.asked}/dives.json`);
    if (this.asked !== null && answer.status === 404) return 'no such audience';
    const list = answer.status === 200 ? decodeDives(answer.bytes) : new Refused('no list');
    return list instanceof Refused ? null : list;
  }

  private async history(): Promise<Refetch> {
    const list = await this.list();
    if (list === null) return 'failed';
    if (list === 'no such audience') return list;
    this.audience = list.audience;
    this.listener.dives(list);
    const newest = list.dives[list.dives.length - 1];
    if (this.cursor && this.cursor.dive > (newest?.dive ?? 0)) this.forget();
    return newest ? this.catchUp(newest) : 'read';
  }

  private forget(): void {
    this.cursor = this.tick_s = null;
    this.listener.reset();
  }

  private async catchUp(newest: DiveEntry): Promise<Refetch> {
    if (this.cursor?.dive === newest.dive && this.cursor.seq >= newest.records - 1) return 'read';
    const read = await readRecording(this.ports, newest, this.digest);
    if (typeof read === 'string') return read;
    if (newest.closed) this.listener.integrity(newest.dive, read.integrity);
    const { records } = read;
    const fresh = this.cursor?.dive === newest.dive ? records.slice(this.cursor.seq + 1) : records;
    return this.deliver(fresh) ? 'read' : 'failed';
  }

  private deliver(records: readonly Released[]): boolean {
    if (!this.listener.records(records)) return false;
    for (const record of records) {
      if (record.kind === 'dive') this.tick_s = record.header.tick_s;
      if (record.kind === 'end') this.tick_s = null;
      this.cursor = { dive: record.dive, seq: record.seq };
    }
    return true;
  }

  private take(bytes: Uint8Array): boolean {
    const record = decodeFrame(bytes);
    if (record instanceof Refused) return false;
    if (this.cursor && record.dive === this.cursor.dive && record.seq <= this.cursor.seq) return true;
    return this.deliver([record]);
  }

  private async behind(): Promise<boolean | 'failed'> {
    const list = await this.list();
    if (list === null || list === 'no such audience') return 'failed';
    const newest = list.dives[list.dives.length - 1];
    if (!newest) return this.cursor !== null;
    const { dive, seq } = this.cursor ?? { dive: 0, seq: -1 };
    return newest.dive !== dive || newest.records > seq + 1;
  }
}

interface Read {
  readonly records: readonly Released[];
  readonly integrity: Integrity;
}

/** Fetch, decode and check a recording. */
async function readRecording(ports: Ports, entry: DiveEntry, digest: DigestEngine): Promise<Read | 'failed' | 'outdated'> {
  const { status, bytes } = await ports.read(entry.recording);
  if (status !== 200) return 'failed';
  const recording = decodeRecording(bytes);
  const integrity = entry.closed ? await checkRecording(bytes, recording, digest) : 'incomplete';
  if (recording.ending instanceof Refused && recording.ending.reason === 'header: version') return 'outdated';
  if (recording.records.some((record) => record.dive !== entry.dive)) return 'failed';
  const refused = recording.ending instanceof Refused && !entry.closed;
  return refused ? 'failed' : { records: integrity === 'damaged' ? [] : recording.records, integrity };
}

class Recorded implements Source {
  private stopped = false;
  private attempt = 0;
  private cancelTimer = (): void => {};

  constructor(
    private readonly ports: Ports,
    private readonly entry: DiveEntry,
    private readonly digest: DigestEngine,
    private readonly listener: Listener,
  ) {}

  start(): void {
    void this.read();
  }

  retry(): void {
    this.cancelTimer();
    void this.read();
  }

  stop(): void {
    this.stopped = true;
    this.cancelTimer();
  }

  private async read(): Promise<void> {
    const read = await readRecording(this.ports, this.entry, this.digest).catch((): 'failed' => 'failed');
    if (this.stopped) return;
    if (read === 'outdated') this.listener.connection({ is: 'outdated' });
    else if (read === 'failed') this.later();
    else {
      this.listener.integrity(this.entry.dive, read.integrity);
      this.listener.records(read.records);
    }
  }

  private later(): void {
    this.listener.integrity(this.entry.dive, 'unreachable');
    this.cancelTimer = this.ports.after(wait_s(this.attempt, this.ports.chance()), () => void this.read());
    this.attempt += 1;
  }
}

/** Follow the newest dive as it is released, to the site's first audience or to the one that is asked for. */
export const liveSource = (ports: Ports, digest: DigestEngine, listener: Listener, asked: string | null = null): Source => new Live(ports, digest, listener, asked);

/** Read one recording. */
export const recordingSource = (ports: Ports, entry: DiveEntry, digest: DigestEngine, listener: Listener): Source =>
  new Recorded(ports, entry, digest, listener);
