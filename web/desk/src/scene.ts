/**
 * The time ribbon as it is to be drawn, all in pixels.
 *
 * Rules: pure; whatever is drawn is in the scene, to half a pixel, so that two scenes that are equal look the same and
 * one that was drawn isn't drawn again.
 */

import type { Linear } from '../../src/scale';
import { intervalOf, markOf, type Chosen, type Interval } from './chosen';
import { exactly } from './spans';
import type { Annotation, Audience, State, Tracks } from './state';
import { barsOf, edgeOn, seatedEdges, shownTime, slowestEdge, ticksOf, timeScale, type Bar, type Tick } from './strip';

/** Heights of the rows, in pixels, from above: names of edges, then the band, annotations, the time axis. */
export const ROW = 19;
export const BAND = 46;
export const NOTES = 22;
export const AXIS = 22;

export interface Stretch {
  readonly left: number;
  readonly right: number;
}

export interface Scene {
  readonly width: number;
  readonly rows: number;
  /** The slowest audience's edge: left of it, everything is out everywhere. */
  readonly edge: number;
  readonly now: number;
  /** Every audience's edge, the slowest first, and whether it is held or stopped. */
  readonly edges: readonly { readonly x: number; readonly isHeld: boolean }[];
  readonly begun: number | null;
  readonly seats: readonly { readonly x: number; readonly left: number; readonly row: number; readonly text: string; readonly isHeld: boolean }[];
  readonly bars: readonly Bar[];
  readonly cuts: readonly Stretch[];
  readonly notes: readonly { readonly x: number; readonly text: string; readonly isOut: boolean }[];
  readonly ticks: readonly Tick[];
  readonly chosen: (Stretch & { readonly text: string }) | null;
  readonly mark: number | null;
}

const isHeld = ({ state }: Audience): boolean => state === 'held' || state === 'stopped';

const half = (x: number): number => Math.round(2 * x) / 2;

/** Return the scene; `measure` returns how wide a name is written, in pixels. */
export function sceneOf(state: State, tracks: Tracks | null, chosen: Chosen, width: number, measure: (text: string) => number): Scene {
  const shown = shownTime(state);
  const time = timeScale(shown, width);
  const x = (at_us: number): number => half(time.to(at_us));
  const { seats, rows } = seatedEdges(state.audiences, time, width, measure);
  const { begun_us } = state.dive;
  return {
    width,
    rows,
    edge: x(slowestEdge(state)),
    now: x(state.now_us),
    begun: begun_us !== null && begun_us > shown.from_us ? x(begun_us) : null,
    edges: state.audiences.map((one) => ({ x: half(edgeOn(time, width, one.edge_us)), isHeld: isHeld(one) })).toSorted((one, other) => one.x - other.x),
    seats: seats.map(({ x: stem, left, row, text, audiences }) => ({ x: half(stem), left: half(left), row, text, isHeld: audiences.every(isHeld) })),
    bars: barsOf(state, time).map(({ left, right, share }) => ({ left: half(left), right: half(right), share })),
    cuts: stretches(state.cuts, shown, time),
    notes: notesOf(tracks?.annotations ?? [], state, shown, time),
    ticks: ticksOf(shown, time, width, 96).map((tick) => ({ ...tick, x: half(tick.x) })),
    chosen: chosenOn(chosen, shown, time),
    mark: chosen.mark_us === null ? null : x(markOf(chosen, state.now_us)),
  };
}

function stretches(cuts: readonly Interval[], shown: Interval, time: Linear): Stretch[] {
  const seen = cuts.filter(({ from_us, to_us }) => to_us > shown.from_us && from_us < shown.to_us);
  return seen.map(({ from_us, to_us }) => ({ left: half(time.to(Math.max(from_us, shown.from_us))), right: half(time.to(Math.min(to_us, shown.to_us))) }));
}

function notesOf(annotations: readonly Annotation[], { audiences }: State, shown: Interval, time: Linear): Scene['notes'] {
  const seen = annotations.filter(({ at_us }) => at_us >= shown.from_us && at_us <= shown.to_us);
  const isOut = ({ out }: Annotation): boolean => audiences.length > 0 && audiences.every(({ name }) => out.includes(name));
  return seen.toSorted((one, other) => one.at_us - other.at_us).map((one) => ({ x: half(time.to(one.at_us)), text: one.text, isOut: isOut(one) }));
}

function chosenOn(chosen: Chosen, shown: Interval, time: Linear): Scene['chosen'] {
  const interval = intervalOf(chosen);
  const [seen] = interval ? stretches([interval], shown, time) : [];
  return interval && seen ? { ...seen, text: exactly(interval.to_us - interval.from_us) } : null;
}

export const topOf = ({ rows }: Scene): number => rows * ROW + 4;
export const heightOf = (scene: Scene): number => topOf(scene) + BAND + NOTES + AXIS;
