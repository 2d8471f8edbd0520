/**
 * Where things stand on the time ribbon: its ends, its divisions, the names of the edges, the bars of the queue.
 *
 * Rules: pure; now is the right end; the left end moves in round steps, so that the drawing doesn't creep; names never
 * touch each other nor the stem of another edge: those that find no room share one.
 */

import { span } from '../../src/format';
import { clockStep, linear, multiples, type Linear } from '../../src/scale';
import type { Interval, Reach } from './chosen';
import { drawn } from './drawn_words';
import { late, US } from './spans';
import type { Audience, State } from './state';

const LEAST_S = 60;
/** What is out everywhere already takes at least this share of the ribbon: one sees the band begin. */
const BEFORE = 0.12;
const ROUND_S = [60, 90, 120, 180, 300, 450, 600, 900, 1_200, 1_800, 2_700, 3_600, 4_500, 5_400, 7_200, 9_000, 10_800];

/** On a ribbon no longer than this an arrow key moves by single seconds. */
const SHORT_S = 900;

/** Return how long the ribbon is that holds `longest_s` and some of what was before. */
export function ribbonSpan(longest_s: number): number {
  const needed_s = Math.max(LEAST_S, longest_s / (1 - BEFORE));
  return ROUND_S.find((round_s) => round_s >= needed_s) ?? Math.ceil(needed_s / 3_600) * 3_600;
}

/** Return the edge of the slowest audience; now where there is none. */
export function slowestEdge({ now_us, audiences }: Pick<State, 'now_us' | 'audiences'>): number {
  return audiences.reduce((least_us, { edge_us }) => Math.min(least_us, edge_us), now_us);
}

/** Return the time that the ribbon shows. */
export function shownTime(state: State): Interval {
  const begin_us = Math.min(slowestEdge(state), state.queue.counts.length > 0 ? state.queue.from_us : state.now_us);
  return { from_us: state.now_us - ribbonSpan((state.now_us - begin_us) / US) * US, to_us: state.now_us };
}

/** Return what can be chosen on the ribbon, in steps of some two pixels. */
export function reachOf(state: State): Reach {
  const { from_us, to_us } = shownTime(state);
  const span_s = (to_us - from_us) / US;
  return { from_us: slowestEdge(state), to_us, step_us: (span_s <= SHORT_S ? 1 : clockStep(span_s / 720)) * US };
}

export interface Tick {
  readonly x: number;
  readonly text: string;
}

/** Return the divisions of the time axis, each so long before now; `apart` is how many pixels a label needs. */
export function ticksOf(shown: Interval, time: Linear, width: number, apart: number): Tick[] {
  const span_s = (shown.to_us - shown.from_us) / US;
  const step_s = clockStep((span_s * apart) / Math.max(width, apart));
  return multiples(0, span_s, step_s).map((ago_s) => ({
    x: time.to(shown.to_us - ago_s * US),
    text: ago_s === 0 ? drawn.ribbon.now : drawn.ribbon.ago(span(ago_s)),
  }));
}

/** Pixels left free at both ends of the ribbon. */
export const PAD = 10;

export const timeScale = (shown: Interval, width: number): Linear => linear(shown.from_us, shown.to_us, PAD, width - PAD);

export interface Bar {
  readonly left: number;
  readonly right: number;
  /** Of the fullest bucket, from 0 to 1. */
  readonly share: number;
}

/** Return the buckets of the queue that hold something, as bars; the last may not be over yet. */
export function barsOf({ queue, now_us }: State, time: Linear): Bar[] {
  const most = Math.max(1, ...queue.counts);
  return queue.counts.flatMap((count, i) => {
    const from_us = queue.from_us + i * queue.bucket_us;
    const to_us = Math.min(from_us + queue.bucket_us, queue.to_us, now_us);
    return count === 0 || to_us <= from_us ? [] : [{ left: time.to(from_us), right: time.to(to_us), share: count / most }];
  });
}

/** Audiences told together, at the edge of the slowest of them. */
export interface Group {
  readonly x: number;
  readonly audiences: readonly Audience[];
  readonly text: string;
}

/** A group's text in its seat: left end and width of the text, and the row, of which 0 is the uppermost. */
export interface Seated extends Group {
  readonly left: number;
  readonly row: number;
  readonly wide: number;
}

const EDGES_TOUCH = 3;
const GAP = 8;
const STEM = 5;
const MOST_ROWS = 4;

type Measure = (text: string) => number;

function groupOf(audiences: readonly Audience[], x: number): Group {
  const [first] = audiences as [Audience, ...Audience[]];
  const states = new Set(audiences.map(({ state }) => state));
  const names = audiences.length < 3 ? drawn.list(audiences.map(({ name }) => name)) : drawn.ribbon.andMore(first.name, String(audiences.length - 1));
  const state = states.size === 1 ? drawn.ribbon.states[first.state] : null;
  return { x, audiences, text: drawn.ribbon.edge(names, state, lateOf(audiences)) };
}

function lateOf(audiences: readonly Audience[]): string {
  const lags = audiences.map(({ lag_s }) => lag_s);
  const [least_s, most_s] = [Math.min(...lags), Math.max(...lags)];
  if (late(least_s) === late(most_s)) return late(most_s);
  return drawn.ribbon.lateBetween(span(least_s), span(most_s));
}

const both = (one: Group, other: Group): Group => groupOf([...one.audiences, ...other.audiences], one.x);

/** Join what stands at one spot, from the left on. */
function joined(groups: readonly Group[]): Group[] {
  const found: Group[] = [];
  for (const group of groups) {
    const before = found[found.length - 1];
    if (before && group.x - before.x <= EDGES_TOUCH) found[found.length - 1] = both(before, group);
    else found.push(group);
  }
  return found;
}

/** Where the edge of an audience stands. */
export const edgeOn = (time: Linear, width: number, edge_us: number): number => Math.min(width - PAD, Math.max(PAD, time.to(edge_us)));

/** Return the names of all edges in their seats, in as few rows as they need, and the number of those. */
export function seatedEdges(audiences: readonly Audience[], time: Linear, width: number, measure: Measure): { seats: readonly Seated[]; rows: number } {
  const inOrder = audiences.toSorted((one, other) => one.edge_us - other.edge_us);
  let groups = joined(inOrder.map((one) => groupOf([one], edgeOn(time, width, one.edge_us))));
  let seats = seatAll(groups, MOST_ROWS, width, measure);
  while (seats.length < groups.length && groups.length > 1) {
    groups = together(groups, seats.length);
    seats = seatAll(groups, MOST_ROWS, width, measure);
  }
  if (seats.length < groups.length) return { seats: groups.map((group) => ({ ...group, left: 0, row: 0, wide: width })), rows: 1 };
  for (let rows = 1; rows < MOST_ROWS; rows += 1) {
    const fewer = seatAll(groups, rows, width, measure);
    if (fewer.length === groups.length) return { seats: fewer, rows };
  }
  return { seats, rows: MOST_ROWS };
}

/** Let the group that found no seat share one with its nearer neighbour. */
function together(groups: readonly Group[], stuck: number): Group[] {
  const x = (i: number): number => groups[i]?.x ?? Infinity;
  const isBefore = stuck > 0 && x(stuck) - x(stuck - 1) <= x(stuck + 1) - x(stuck);
  const first = isBefore ? stuck - 1 : stuck;
  const [one, other] = [groups[first] as Group, groups[first + 1] as Group];
  return [...groups.slice(0, first), both(one, other), ...groups.slice(first + 2)];
}

/** Seat the groups from the left on; those that found a seat before one didn't. */
function seatAll(groups: readonly Group[], rows: number, width: number, measure: Measure): Seated[] {
  const seats: Seated[] = [];
  for (const group of groups) {
    const found = seatFor(group, measure(group.text), seats, rows, width);
    if (!found) return seats;
    seats.push(found);
  }
  return seats;
}

/** The uppermost free seat, to the right of the stem rather than to its left. */
function seatFor(group: Group, wide: number, taken: readonly Seated[], rows: number, width: number): Seated | null {
  for (let row = 0; row < rows; row += 1) {
    for (const left of [group.x + STEM, group.x - STEM - wide]) {
      const seat = { x: group.x, left, row, wide };
      if (left >= 0 && left + wide <= width && taken.every((other) => areClear(seat, other))) return { ...group, left, row, wide };
    }
  }
  return null;
}

type Spot = Pick<Seated, 'x' | 'left' | 'row' | 'wide'>;

/** Tell whether two texts and their stems, which go from their rows down, keep clear of each other. */
function areClear(one: Spot, other: Spot): boolean {
  const areApart = one.row !== other.row || one.left > other.left + other.wide + GAP || other.left > one.left + one.wide + GAP;
  return areApart && !crosses(one, other) && !crosses(other, one);
}

function crosses(stem: Spot, text: Spot): boolean {
  return text.row >= stem.row && stem.x > text.left - 2 && stem.x < text.left + text.wide + 2;
}
