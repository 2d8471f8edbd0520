/**
 * One dive as the page holds it: columns of numbers, a list of notes, one line of sequence.
 *
 * Rules: append-only; a record is taken only if it is the very next of this dive, so a gap or a duplicate never
 * gets in; withheld is NaN, never zero; everything derived (deepest, bounds, last report) comes from released
 * records alone (R7); at most `mostTicks` ticks and `STILLS` stills are held, and past that the dive refuses.
 */

import { ALTITUDES, LEGS, MODES, type Altitude, type Header, type Leg, type Mode, type Released, type Report, type Still, type Verdict } from './decode';
import type { Bounds } from './scale';

export type Judgement = 'taken' | 'gap' | 'duplicate' | 'another dive' | 'after the end' | 'misshapen' | 'full';

export interface Note {
  readonly number: number;
  readonly elapsed_s: number;
  readonly vehicle: number | null;
  readonly text: string;
  readonly still: Still | null;
}

export interface Target {
  readonly elapsed_s: number;
  readonly vehicle: number | null;
  readonly name: string;
  readonly verdict: Verdict | null;
}

/** The least dive time between two positions of which a way or a pace is made: one that wavers runs no distance. */
export const SAMPLE_S = 60;

/** The most stills of a dive (asyncapi.yaml, still). */
export const STILLS = 60;

type NumberColumn = 'east_m' | 'north_m' | 'depth_m' | 'heading_deg' | 'pitch_deg' | 'roll_deg';
const NUMBER_COLUMNS: readonly NumberColumn[] = ['east_m', 'north_m', 'depth_m', 'heading_deg', 'pitch_deg', 'roll_deg'];

/** The columns of one vehicle, one entry per tick; entries at or past the dive's `count` mean nothing. */
export class Track {
  east_m = new Float32Array(0);
  north_m = new Float32Array(0);
  depth_m = new Float32Array(0);
  heading_deg = new Float32Array(0);
  pitch_deg = new Float32Array(0);
  roll_deg = new Float32Array(0);
  /** The deepest released depth up to each tick; NaN before the first. */
  deepest_m = new Float32Array(0);
  /** The index of the last tick with a report, up to each tick; -1 before the first. */
  lastHeard = new Int32Array(0);
  /** How many ticks up to each tick were told as the bottom leg. */
  bottomTicks = new Int32Array(0);
  /** The index of the first tick with a leg; -1 before there is one. */
  firstLeg = -1;
  /** The index of the first tick with a released position; -1 before there is one. */
  firstPlaced = -1;
  /** The ticks, `SAMPLE_S` apart at least, whose positions make up the way. */
  readonly samples: number[] = [];
  /** Where the leg told became another; a leg not told changes nothing. */
  readonly turns: { readonly tick: number; readonly leg: Leg }[] = [];
  private lastSample_s = -Infinity;
  private words = new Uint8Array(0);

  constructor(readonly name: string) {}

  /** The words of tick `i`. */
  altitude(i: number): Altitude | null {
    return ALTITUDES[((this.words[i] ?? 0) & 3) - 1] ?? null;
  }
  mode(i: number): Mode | null {
    return MODES[(((this.words[i] ?? 0) >> 2) & 3) - 1] ?? null;
  }
  leg(i: number): Leg | null {
    return LEGS[(((this.words[i] ?? 0) >> 4) & 7) - 1] ?? null;
  }
  heard(i: number): boolean {
    return this.lastHeard[i] === i;
  }

  grow(size: number): void {
    for (const name of [...NUMBER_COLUMNS, 'deepest_m'] as const) this[name] = grown(this[name], new Float32Array(size));
    this.lastHeard = grown(this.lastHeard, new Int32Array(size));
    this.bottomTicks = grown(this.bottomTicks, new Int32Array(size));
    this.words = grown(this.words, new Uint8Array(size));
  }

  set(i: number, elapsed_s: number, report: Report): void {
    for (const name of NUMBER_COLUMNS) this[name][i] = report[name] ?? NaN;
    if (!isPlaced(report)) this.east_m[i] = this.north_m[i] = NaN;
    this.words[i] =
      (ALTITUDES.indexOf(report.altitude as Altitude) + 1) |
      ((MODES.indexOf(report.mode as Mode) + 1) << 2) |
      ((LEGS.indexOf(report.leg as Leg) + 1) << 4);
    const before = i > 0 ? (this.deepest_m[i - 1] as number) : NaN;
    const depth_m = this.depth_m[i] as number;
    this.deepest_m[i] = Number.isNaN(before) || depth_m > before ? depth_m : before;
    if (isPlaced(report)) this.place(i, elapsed_s);
    if (report.leg !== null && this.firstLeg < 0) this.firstLeg = i;
    this.bottomTicks[i] = (i > 0 ? (this.bottomTicks[i - 1] as number) : 0) + (report.leg === 'bottom' ? 1 : 0);
    if (report.leg !== null && report.leg !== this.turns[this.turns.length - 1]?.leg) this.turns.push({ tick: i, leg: report.leg });
    this.lastHeard[i] = report.heard ? i : i > 0 ? (this.lastHeard[i - 1] as number) : -1;
  }

  private place(i: number, elapsed_s: number): void {
    if (this.firstPlaced < 0) this.firstPlaced = i;
    if (elapsed_s - this.lastSample_s < SAMPLE_S) return;
    this.samples.push(i);
    this.lastSample_s = elapsed_s;
  }
}

/** Half a position is none. */
function isPlaced(report: Report): report is Report & { readonly east_m: number; readonly north_m: number } {
  return report.east_m !== null && report.north_m !== null;
}

function grown<C extends Float32Array | Float64Array | Int32Array | Uint8Array>(old: C, fresh: C): C {
  fresh.set(old);
  return fresh;
}

export class Dive {
  readonly tracks: readonly Track[];
  elapsed_s = new Float64Array(0);
  count = 0;
  readonly notes: Note[] = [];
  readonly targets: Target[] = [];
  private stills = 0;
  over = false;
  /** How many tree heads of the exact record came, and the dive time of the last one; NaN before the first. */
  heads = 0;
  headed_s = NaN;
  unknown = 0;
  /** The greatest dive time of any record. */
  end_s = 0;
  /** What all tracks lie within, or null before the first released position. */
  bounds: Bounds | null = null;
  /** The least released depth; NaN before there is one. */
  shallowest_m = NaN;
  private nextSeq = 1;
  private readonly listeners = new Set<() => void>();

  constructor(
    readonly dive: number,
    readonly header: Header,
    private readonly mostTicks = 250_000,
  ) {
    this.tracks = header.vehicles.map((name) => new Track(name));
  }

  /** The sequence number of the last record taken. */
  get seq(): number {
    return this.nextSeq - 1;
  }

  /** The deepest released depth of any vehicle up to tick `i`; NaN if none. */
  deepest_m(i: number): number {
    return this.tracks.reduce((deepest, track) => {
      const value = i < 0 ? NaN : (track.deepest_m[i] as number);
      return Number.isNaN(deepest) || value > deepest ? value : deepest;
    }, NaN);
  }

  /** Call `listener` after each record taken; the result ends it. */
  subscribe(listener: () => void): () => void {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  /** Take the next record, or say why not; only 'taken' changes anything. */
  append(record: Released): Judgement {
    const verdict = this.judge(record);
    if (verdict !== 'taken') return verdict;
    this.take(record);
    this.nextSeq += 1;
    this.end_s = Math.max(this.end_s, record.elapsed_s);
    for (const listener of this.listeners) listener();
    return 'taken';
  }

  private judge(record: Released): Judgement {
    if (record.dive !== this.dive) return 'another dive';
    if (record.seq < this.nextSeq) return 'duplicate';
    if (record.seq > this.nextSeq) return 'gap';
    if (this.over) return 'after the end';
    if (record.kind === 'dive') return 'misshapen';
    if (record.kind === 'note' || record.kind === 'target') {
      if (record.vehicle !== null && record.vehicle >= this.tracks.length) return 'misshapen';
      return record.kind === 'note' && record.still !== null && this.stills >= STILLS ? 'full' : 'taken';
    }
    if (record.kind !== 'tick') return 'taken';
    const last_s = this.count > 0 ? (this.elapsed_s[this.count - 1] as number) : 0;
    if (record.reports.length !== this.tracks.length || record.elapsed_s < last_s) return 'misshapen';
    return this.count < this.mostTicks ? 'taken' : 'full';
  }

  private take(record: Released): void {
    if (record.kind === 'tick') this.tick(record.elapsed_s, record.reports);
    else if (record.kind === 'note') {
      const { elapsed_s, vehicle, text, still } = record;
      this.notes.push({ number: this.notes.length + 1, elapsed_s, vehicle, text, still });
      if (still !== null) this.stills += 1;
    } else if (record.kind === 'target') {
      const { elapsed_s, vehicle, name, verdict } = record;
      this.targets.push({ elapsed_s, vehicle, name, verdict });
    } else if (record.kind === 'head') {
      this.heads += 1;
      this.headed_s = record.elapsed_s;
    } else if (record.kind === 'end') this.over = true;
    else this.unknown += 1;
  }

  private tick(elapsed_s: number, reports: readonly Report[]): void {
    const i = this.count;
    if (i === this.elapsed_s.length) {
      const size = Math.max(512, 2 * i);
      this.elapsed_s = grown(this.elapsed_s, new Float64Array(size));
      for (const track of this.tracks) track.grow(size);
    }
    this.elapsed_s[i] = elapsed_s;
    reports.forEach((report, vehicle) => {
      (this.tracks[vehicle] as Track).set(i, elapsed_s, report);
      if (report.depth_m !== null && !(report.depth_m >= this.shallowest_m)) this.shallowest_m = report.depth_m;
      if (isPlaced(report)) this.bounds = around(this.bounds, report.east_m, report.north_m);
    });
    this.count = i + 1;
  }
}

function around(bounds: Bounds | null, east: number, north: number): Bounds {
  if (bounds === null) return { west: east, east, south: north, north };
  if (east >= bounds.west && east <= bounds.east && north >= bounds.south && north <= bounds.north) return bounds;
  return {
    west: Math.min(bounds.west, east),
    east: Math.max(bounds.east, east),
    south: Math.min(bounds.south, north),
    north: Math.max(bounds.north, north),
  };
}
