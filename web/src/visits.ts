/**
 * Where a track changes, and which squares it comes to for the first time: found once, however often it is drawn.
 *
 * Rules: pure but for what it remembers of a track, which only grows; a moment that is gone back to needs nothing anew.
 */

import { changes } from './decimate';
import type { Track } from './store';

export interface Visits {
  /** The ticks at which the position changes, or becomes unknown. */
  readonly turns: readonly number[];
  /** The metres run up to each of them since positions were last told anew; NaN where one isn't told. */
  readonly run_m: readonly number[];
  /** Those of them at which a square is come to for the first time. */
  readonly firsts: readonly number[];
}

interface Known {
  count: number;
  turns: number[];
  run_m: number[];
  firsts: number[];
  seen: Map<number, Set<number>>;
}

const known = new WeakMap<Track, Known>();

/** Return what is known of the first `count` ticks of a track; entries past them may follow. */
export function visitsOf(track: Track, count: number): Visits {
  const had = known.get(track) ?? { count: 0, turns: [], run_m: [], firsts: [], seen: new Map<number, Set<number>>() };
  known.set(track, had);
  if (count > had.count) grow(had, track, count);
  return had;
}

function grow(had: Known, track: Track, count: number): void {
  const { turns, run_m, firsts } = had;
  for (const i of changes(track.east_m, track.north_m, count, had.count, turns[turns.length - 1])) {
    run_m.push(run(had, track, i));
    turns.push(i);
    if (isFirst(had.seen, track.east_m[i] as number, track.north_m[i] as number)) firsts.push(i);
  }
  had.count = count;
}

function run({ turns, run_m }: Known, { east_m, north_m }: Track, i: number): number {
  const before = turns[turns.length - 1];
  const from = run_m[run_m.length - 1];
  const [east, north] = [east_m[i] as number, north_m[i] as number];
  if (Number.isNaN(east)) return NaN;
  if (before === undefined || from === undefined || Number.isNaN(from)) return 0;
  return from + Math.hypot(east - (east_m[before] as number), north - (north_m[before] as number));
}

function isFirst(seen: Map<number, Set<number>>, east: number, north: number): boolean {
  if (Number.isNaN(east)) return false;
  const column = seen.get(east);
  if (!column) seen.set(east, new Set([north]));
  else if (column.has(north)) return false;
  else column.add(north);
  return true;
}
