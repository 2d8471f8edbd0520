import { describe, expect, test } from 'vitest';
import { canStillCut, out_us, outAt } from '../../desk/src/out';
import { ago, exactly, late } from '../../desk/src/spans';

const S = 1_000_000;
const plain = (text: string): string => text.replaceAll('\u00a0', ' ');
const interval = { from_us: 1_000 * S, to_us: 1_130 * S };
const at = (name: string, edge_s: number): { name: string; edge_us: number } => ({ name, edge_us: edge_s * S });

describe('what is out of an interval', () => {
  test('is told for each audience, and those of which the same is true are named together', () => {
    expect(plain(outAt(interval, [at('public', 900), at('funders', 1_040)]))).toBe('public: none of it is out; funders: the first 40 s is out.');
    expect(plain(outAt(interval, [at('public', 900), at('press', 1_000), at('museum', 1_130)]))).toBe('public and press: none of it is out; museum: all of it is out.');
    expect(outAt(interval, [])).toBe('');
  });

  test('is what lies before the edge, never less than none nor more than all', () => {
    expect([0, 1_000, 1_001, 1_129, 1_130, 5_000].map((edge_s) => out_us(interval, edge_s * S) / S)).toEqual([0, 0, 1, 129, 130, 130]);
  });

  test('is never said to be none while something may be out, nor all while something is not', () => {
    expect(plain(outAt(interval, [{ name: 'public', edge_us: 1_000 * S + 1 }]))).toBe('public: the first 1 s is out.');
    expect(outAt(interval, [{ name: 'public', edge_us: 1_130 * S - 1 }])).not.toContain('all');
  });

  test('decides whether a cut would still take something away', () => {
    expect(canStillCut(interval, [at('public', 1_129)])).toBe(true);
    expect(canStillCut(interval, [at('public', 1_130)])).toBe(false);
    expect(canStillCut(interval, [at('funders', 1_200), at('public', 900)])).toBe(true);
  });
});

describe('spans', () => {
  test('of an interval are said to the second, however long', () => {
    expect([0, 40, 60, 125, 3_600, 3_630, 7_384].map((s) => plain(exactly(s * S)))).toEqual(['0 s', '40 s', '1 min', '2 min 5 s', '1 h', '1 h 0 min 30 s', '2 h 3 min 4 s']);
  });

  test('before now are "now" once they are too short to speak of', () => {
    expect(ago(10 * S, 10 * S)).toBe('now');
    expect(plain(ago(10 * S, 100 * S))).toBe('1 min 30 s ago');
  });

  test('of lateness are those of the followers’ page', () => {
    expect([0, 40, 2_750].map((s) => plain(late(s)))).toEqual(['at once', '40 s late', '45 min late']);
  });
});
