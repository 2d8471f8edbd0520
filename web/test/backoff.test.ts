import { describe, expect, test } from 'vitest';
import { wait_s } from '../src/backoff';

describe('the wait before trying again', () => {
  test('doubles up to its most', () => {
    const waits = [0, 1, 2, 3, 4, 5, 6, 50].map((attempt) => wait_s(attempt, 0.999999));
    expect(waits.map(Math.round)).toEqual([2, 4, 8, 16, 32, 60, 60, 60]);
  });

  test('loses up to half of itself to chance, and never more', () => {
    for (const attempt of [0, 3, 9]) {
      expect(wait_s(attempt, 0)).toBe(wait_s(attempt, 0.5) / 1.5);
      expect(wait_s(attempt, 0)).toBeGreaterThanOrEqual(1);
    }
  });
});
