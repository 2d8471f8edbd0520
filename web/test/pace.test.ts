import { describe, expect, test } from 'vitest';
import { bottom_s, pace, way_m } from '../src/pace';
import { diveFrames, heldDive, report, SILENT } from './frames';

/** A vehicle that is at each of these east positions for one tick of 15 s; null where it isn't told. */
const walked = (easts: readonly (number | null)[]) => {
  const dive = heldDive(diveFrames(1, easts.map((east) => [report(10, east, east === null ? null : 0), SILENT])));
  return { dive, track: dive.tracks[0] as (typeof dive.tracks)[number] };
};

describe('the way', () => {
  test('is made of positions a minute apart, so that wavering at the edge of a cell runs no distance', () => {
    const { dive, track } = walked(Array.from({ length: 41 }, (_, i) => (i % 2) * 25));
    expect(way_m(dive, track, 40)).toBe(0);
  });

  test('grows with the moment shown', () => {
    const { dive, track } = walked(Array.from({ length: 41 }, (_, i) => i * 5));
    expect([3, 4, 39, 40].map((i) => way_m(dive, track, i))).toEqual([0, 20, 180, 200]);
  });

  test('is not run where positions were not told for long', () => {
    const gap: null[] = Array(20).fill(null);
    const { dive, track } = walked([0, 0, 0, 0, 20, ...gap, 1_000, 1_000, 1_000, 1_000, 1_020]);
    expect(way_m(dive, track, 29)).toBe(40);
  });

  test('is unknown without a position', () => {
    const { dive, track } = walked([null, null]);
    expect([way_m(dive, track, 1), pace(dive, track, 1)]).toEqual([null, null]);
  });
});

describe('the pace', () => {
  test('is that of the last five minutes', () => {
    const { dive, track } = walked(Array.from({ length: 81 }, (_, i) => (i < 60 ? 0 : (i - 60) * 6)));
    expect(pace(dive, track, 59)).toEqual({ speed_mps: 0, over_s: 300 });
    expect(pace(dive, track, 80)).toEqual({ speed_mps: 0.4, over_s: 300 });
  });

  test('is not told once positions stayed away', () => {
    const { dive, track } = walked([0, 0, 0, 0, 20, ...Array<null>(12).fill(null)]);
    expect(pace(dive, track, 4)?.over_s).toBe(60);
    expect(pace(dive, track, 16)).toBeNull();
  });
});

test('time at work below is counted in ticks, and unknown where legs are not told', () => {
  const legs = ['descent', 'bottom', 'bottom', 'ascent'];
  const dive = heldDive(diveFrames(1, legs.map((leg) => [report(10, null, null, leg), report(10, null, null, null)])));
  expect(dive.tracks.map((track) => bottom_s(dive, track, 3))).toEqual([30, null]);
});
