import { describe, expect, test } from 'vitest';
import { NONE, chosenOf } from '../../desk/src/chosen';
import { heightOf, sceneOf } from '../../desk/src/scene';
import { readState, readTracks, type Audience, type State } from '../../desk/src/state';
import { barsOf, PAD, reachOf, ribbonSpan, seatedEdges, shownTime, slowestEdge, ticksOf, timeScale } from '../../desk/src/strip';
import { NOW_US, STATE, TRACKS } from './states';

const S = 1_000_000;
const state = readState(STATE);
const tracks = readTracks(TRACKS);
const WIDTH = 1_000;
const measure = (text: string): number => 7 * text.length;

function withLags(lags: readonly number[]): State {
  const [first] = state.audiences as [Audience];
  return { ...state, audiences: lags.map((lag_s, i) => ({ ...first, name: `class ${i}`, lag_s, edge_us: NOW_US - lag_s * S })) };
}

describe('the time shown', () => {
  test('ends at now, holds the slowest edge, and leaves an eighth or so for what is out everywhere', () => {
    for (const lag_s of [0, 60, 599, 2_700, 3_168, 3_300, 36_000, 200_000]) {
      const now = withLags([lag_s, lag_s / 2]);
      const { from_us, to_us } = shownTime({ ...now, queue: { ...now.queue, from_us: slowestEdge(now) } });
      expect(to_us).toBe(NOW_US);
      expect((NOW_US - lag_s * S - from_us) / (to_us - from_us)).toBeGreaterThan(0.119);
    }
  });

  test('holds the queue, even where it reaches back beyond every edge', () => {
    const held = { ...state, queue: { ...state.queue, from_us: NOW_US - 5_000 * S } };
    expect(shownTime(held).from_us).toBeLessThan(NOW_US - 5_000 * S);
  });

  test('grows in round steps: its left end seldom moves', () => {
    const spans = new Set(Array.from({ length: 7_200 }, (_, lag_s) => ribbonSpan(lag_s)));
    expect(spans.size).toBeLessThan(18);
    for (const span_s of spans) expect(span_s % 30).toBe(0);
  });

  test('is that of now alone where there are no audiences, and nothing can be chosen then', () => {
    const nobody = { ...state, audiences: [], queue: { ...state.queue, counts: [] } };
    expect(shownTime(nobody)).toEqual({ from_us: NOW_US - 60 * S, to_us: NOW_US });
    expect(reachOf(nobody)).toMatchObject({ from_us: NOW_US, to_us: NOW_US });
  });

  test('can be chosen from the slowest edge to now, in steps of some pixels', () => {
    const { from_us, to_us, step_us } = reachOf(state);
    expect([from_us, to_us]).toEqual([NOW_US - 2_700 * S, NOW_US]);
    expect(step_us).toBe(5 * S);
  });

  test('shows a short embargo as large as a long one, and there moves by seconds', () => {
    const now = withLags([23]);
    const brief = { ...now, queue: { ...now.queue, from_us: slowestEdge(now) } };
    const { from_us, to_us } = shownTime(brief);
    expect((23 * S) / (to_us - from_us)).toBeGreaterThan(0.3);
    expect(reachOf(brief).step_us).toBe(S);
  });
});

describe('the axis', () => {
  test('ends with now, and its labels stand apart', () => {
    const shown = shownTime(state);
    const ticks = ticksOf(shown, timeScale(shown, WIDTH), WIDTH, 96);
    expect(ticks[0]).toEqual({ x: WIDTH - PAD, text: 'now' });
    for (const [i, { x }] of ticks.entries()) if (i > 0) expect((ticks[i - 1]?.x ?? 0) - x).toBeGreaterThan(90);
  });

  test('doesn’t move while now runs on', () => {
    const later = { ...state, now_us: NOW_US + 700_000, audiences: state.audiences.map((one) => ({ ...one, edge_us: one.edge_us + 700_000 })), queue: { ...state.queue, from_us: state.queue.from_us + 700_000 } };
    const ticks = [state, later].map((one) => ticksOf(shownTime(one), timeScale(shownTime(one), WIDTH), WIDTH, 96).map(({ x, text }) => [Math.round(x * 100), text]));
    expect(ticks[1]).toEqual(ticks[0]);
  });
});

describe('the queue', () => {
  test('stands as one bar for each bucket that holds something, in its own time, the fullest the highest', () => {
    const time = timeScale(shownTime(state), WIDTH);
    const bars = barsOf(state, time);
    expect(bars).toHaveLength(8);
    expect(Math.max(...bars.map(({ share }) => share))).toBe(1);
    expect(bars[0]?.left).toBeCloseTo(time.to(NOW_US - 2_700 * S));
    expect(bars[7]?.right).toBeCloseTo(time.to(NOW_US));
    expect(bars[7]?.share).toBeCloseTo(0.6);
  });

  test('ends at now, even while its last bucket isn’t over', () => {
    const early = { ...state, queue: { ...state.queue, to_us: NOW_US + 100 * S, from_us: state.queue.from_us + 100 * S } };
    const time = timeScale(shownTime(early), WIDTH);
    for (const { left, right } of barsOf(early, time)) expect(left < right && right <= WIDTH - PAD).toBe(true);
  });
});

/** A stream of numbers from 0 to 1 that is the same each time. */
function chance(seed: number): () => number {
  let value = seed;
  return () => (value = (value * 16_807) % 2_147_483_647) / 2_147_483_647;
}

describe('the names of the edges', () => {
  const seated = (one: State, width = WIDTH) => seatedEdges(one.audiences, timeScale(shownTime(one), width), width, measure);

  test('stand beside their edges, each with its lateness in words', () => {
    const { seats, rows } = seated(state);
    expect(seats.map(({ text }) => text.replaceAll('\u00a0', ' '))).toEqual(['public, 45 min late', 'funders, 5 min late']);
    expect(rows).toBe(1);
  });

  test('say whether an audience is held or stopped, by a word', () => {
    const held = { ...state, audiences: state.audiences.map((one) => ({ ...one, state: 'held' as const })) };
    for (const { text } of seated(held).seats) expect(text).toContain('held');
  });

  test('of one spot stand together, named while there are two, counted beyond', () => {
    expect(seated(withLags([2_700, 2_700])).seats.map(({ text }) => text.replaceAll('\u00a0', ' '))).toEqual(['class 0 and class 1, 45 min late']);
    expect(seated(withLags([2_700, 2_700, 2_705])).seats.map(({ text }) => text.replaceAll('\u00a0', ' '))).toEqual(['class 2 and 2 more, 45 min late']);
  });

  test('never touch each other nor cross another edge’s stem, stay on the sheet, and leave nobody out', () => {
    const next = chance(7);
    for (let round = 0; round < 400; round += 1) {
      const count = 1 + Math.floor(16 * next());
      const one = withLags(Array.from({ length: count }, () => Math.floor(3_600 * next() ** 2)));
      const width = 320 + Math.floor(1_200 * next());
      const { seats, rows } = seated(one, width);
      expect(seats.flatMap(({ audiences }) => audiences.map(({ name }) => name)).sort()).toEqual(one.audiences.map(({ name }) => name).sort());
      expect(rows).toBeLessThanOrEqual(4);
      for (const seat of seats) expect(seat.left >= 0 && seat.left + measure(seat.text) <= width && seat.row < rows).toBe(true);
      for (const [i, seat] of seats.entries()) {
        for (const other of seats.slice(i + 1)) {
          const apart = seat.row !== other.row || seat.left + measure(seat.text) <= other.left || other.left + measure(other.text) <= seat.left;
          const crosses = [[seat, other], [other, seat]].some(([stem, text]) => stem && text && text.row >= stem.row && stem.x > text.left && stem.x < text.left + measure(text.text));
          expect(apart && !crosses).toBe(true);
        }
      }
    }
  });

  test('of no audience are none', () => {
    expect(seated(withLags([]))).toEqual({ seats: [], rows: 1 });
  });

  test('find a seat on a sheet too narrow for any', () => {
    expect(seated(withLags([100, 2_000]), 30).seats).toHaveLength(1);
  });
});

describe('the scene', () => {
  const scene = (one: State, chosen = NONE) => sceneOf(one, tracks, chosen, WIDTH, measure);

  test('is the same while nothing has moved by half a pixel, and another once something has', () => {
    expect(scene({ ...state, now_us: state.now_us })).toEqual(scene(state));
    const moved = { ...state, cuts: [{ from_us: NOW_US - 1_500 * S, to_us: NOW_US - 1_300 * S }] };
    expect(scene(moved)).not.toEqual(scene(state));
  });

  test('has the queue between the slowest edge and now, which is at the right', () => {
    const { edge, now, edges } = scene(state);
    expect(now).toBe(WIDTH - PAD);
    expect(edge).toBe(edges[0]?.x);
    expect(edges.map(({ x }) => x < now)).toEqual([true, true]);
  });

  test('holds annotations and cuts of the time shown, and tells which annotations are out everywhere', () => {
    const { notes, cuts } = scene(state);
    expect(notes.map(({ text, isOut }) => [text, isOut])).toEqual([['The bow.', true], ['A hatch.', false]]);
    expect(cuts).toHaveLength(1);
    const old = { ...state, cuts: [{ from_us: 0, to_us: 100 * S }, { from_us: 0, to_us: NOW_US }] };
    expect(scene(old).cuts).toEqual([{ left: PAD, right: WIDTH - PAD }]);
  });

  test('holds what is chosen, with its length in words, and the mark', () => {
    const { chosen, mark } = scene(state, chosenOf({ from_us: NOW_US - 600 * S, to_us: NOW_US - 470 * S }));
    expect(chosen?.text.replaceAll('\u00a0', ' ')).toBe('2 min 10 s');
    expect(chosen && chosen.right === mark && chosen.left < chosen.right).toBe(true);
    expect(scene(state).mark).toBeNull();
  });

  test('is low enough for a small screen, with sixteen audiences too', () => {
    expect(heightOf(scene(withLags(Array.from({ length: 16 }, (_, i) => 60 + 170 * i))))).toBeLessThan(175);
  });
});
