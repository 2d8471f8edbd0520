import { describe, expect, test } from 'vitest';
import { pieceOf } from '../src/kept';

describe('the pieces of a drawing', () => {
  test.each([[0, 256], [4_096, 256], [4_097, 512], [28_800, 2_048], [250_000, 16_384]])('of a dive of %i ticks are %i long', (count, ticks) => {
    expect(pieceOf(count, 1_000_000)).toBe(ticks);
  });

  test('are fewer the larger its pictures are, so that all take at most 32 MB', () => {
    for (const octets of [1, 2_000_000, 5_000_000, 32_000_000]) {
      expect(Math.ceil(28_800 / pieceOf(28_800, octets)) * octets).toBeLessThanOrEqual(32_000_000);
    }
  });

  test('are one where not even one picture has room', () => {
    expect(pieceOf(28_800, 40_000_000)).toBeGreaterThanOrEqual(28_800);
  });
});
