import { describe, expect, test } from 'vitest';
import * as format from '../src/format';

const plain = (text: string): string => text.replaceAll('\u00a0', ' ');

describe('figures', () => {
  test('of lengths are grouped, to the decimals of their step, with a true minus', () => {
    expect([format.length(1_140), format.length(1_140.4, 0.5), format.length(-3)].map(plain)).toEqual(['1,140 m', '1,140.4 m', '\u22123 m']);
    expect(plain(format.length(-0.2))).toBe('0 m');
  });

  test('of angles keep a half step', () => {
    expect([format.angle(135), format.angle(22.5)]).toEqual(['135°', '22.5°']);
  });

  test('of speed are to the tenth', () => {
    expect(plain(format.speed(0.4449))).toBe('0.4 m/s');
  });

  test('of time are said shortly', () => {
    expect([0, 45, 60, 3_599, 3_600, 4_320, 90_000].map(format.span).map(plain)).toEqual(['0 s', '45 s', '1 min', '59 min', '1 h', '1 h 12 min', '25 h']);
  });

  test('of a clock have one width within a dive', () => {
    expect([0, 75, 3_661, 36_000].map((at_s) => format.clock(at_s))).toEqual(['0:00:00', '0:01:15', '1:01:01', '10:00:00']);
    expect(format.clock(4_500, false)).toBe('1:15');
  });

  test('of notes run together where they follow each other', () => {
    expect([[], [5], [5, 6], [5, 7, 8, 9, 12]].map(format.list)).toEqual(['', '5', '5\u20136', '5, 7\u20139, 12']);
  });

  test('of an area are known to two figures, and change their unit where they grow long', () => {
    expect([39_191, 850, 99_499, 123_456, 2_345_678, 41_700_000].map(format.area)).toEqual(['39,000\u00a0m\u00b2', '850\u00a0m\u00b2', '99,000\u00a0m\u00b2', '0.12\u00a0km\u00b2', '2.3\u00a0km\u00b2', '42\u00a0km\u00b2']);
  });

  test('of a delay are never shorter nor narrower than the delay', () => {
    expect(format.delay(2_700, 3_300)).toBe('45 to 55 minutes');
    expect(format.delay(20, 25)).toBe('20 to 25 seconds');
    expect(format.delay(119, 121)).toBe('1 to 3 minutes');
    expect(format.delay(1_200, 1_200)).toBe('20 minutes');
    expect(format.delay(7_200, 10_800)).toBe('2 to 3 hours');
    expect(format.delay(86_400, 172_800)).toBe('1 to 2 days');
  });
});

describe('a sentence', () => {
  test('is cut into words and figures, and loses nothing', () => {
    const sentence = 'about 1,140.5 m, \u221222.5° on the plan, at 1:12:15.';
    const parts = format.figures(sentence);
    expect(parts.map(({ text }) => text).join('')).toBe(sentence);
    expect(parts.filter(({ figure }) => figure).map(({ text }) => text)).toEqual(['1,140.5', '\u221222.5', '1:12:15']);
  });
});
