import { describe, expect, test } from 'vitest';
import { changes, decimate } from '../src/decimate';

describe('decimate', () => {
  const values = Float32Array.from({ length: 5_000 }, (_, i) => 1_000 + 100 * Math.sin(i / 40) + ((i * 7_919) % 13));
  values[2_345] = 9_000;
  values[3_456] = -50;
  const column = (i: number) => Math.floor(i / 50);

  test('keeps the lowest and the highest of every pixel column', () => {
    const kept = decimate(values, 0, values.length, column);
    for (let at = 0; at < 100; at += 1) {
      const all = Array.from(values.subarray(at * 50, at * 50 + 50));
      const shown = kept.filter((i) => column(i) === at).map((i) => values[i] as number);
      expect(Math.min(...shown)).toBe(Math.min(...all));
      expect(Math.max(...shown)).toBe(Math.max(...all));
    }
  });

  test('keeps the first and the last of every column, in order, at most four of each', () => {
    const kept = decimate(values, 0, values.length, column);
    expect(kept).toEqual([...new Set(kept)].sort((one, other) => one - other));
    for (let at = 0; at < 100; at += 1) {
      const shown = kept.filter((i) => column(i) === at);
      expect(shown.length).toBeLessThanOrEqual(4);
      expect([shown[0], shown.at(-1)]).toEqual([at * 50, at * 50 + 49]);
    }
  });

  test('leaves few points as they are', () => {
    expect(decimate([3, 1, 2], 0, 3, (i) => i)).toEqual([0, 1, 2]);
    expect(decimate([], 0, 0, (i) => i)).toEqual([]);
  });

  test('keeps a gap as one point that is not there', () => {
    const gappy = [1, 2, NaN, NaN, NaN, 3, 4];
    const kept = decimate(gappy, 0, gappy.length, () => 0);
    expect(kept.map((i) => gappy[i])).toEqual([1, 2, NaN, 3, 4]);
  });

  test('stays within the stretch it is given', () => {
    const kept = decimate(values, 100, 200, column);
    expect([kept[0], kept.at(-1)]).toEqual([100, 199]);
  });
});

describe('changes', () => {
  test('keeps the first of each run of equal positions, and the loss of a position once', () => {
    const east = [NaN, NaN, 0, 0, 25, 25, NaN, NaN, 25];
    const north = [NaN, NaN, 0, 25, 25, 25, NaN, NaN, 25];
    expect(changes(east, north, 9)).toEqual([0, 2, 3, 4, 6, 8]);
    expect(changes(east, north, 4)).toEqual([0, 2, 3]);
  });
});
