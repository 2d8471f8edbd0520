import { describe, expect, test } from 'vitest';
import { heading, metres, place, rate, size, span } from '../../desk/src/figures';
import { lookDrawn } from '../../desk/src/look';
import { linesOf } from '../../desk/src/plan_ink';

const plain = (text: string): string => text.replaceAll('\u00a0', ' ');

describe('a figure', () => {
  test('of a place is degrees and minutes to the thousandth, carried over where it rounds up', () => {
    expect(plain(place(61.5083333, -3.204))).toBe('61° 30.500′ N 003° 12.240′ W');
    expect(plain(place(-0.99999999, 179.9999999))).toBe('01° 00.000′ S 180° 00.000′ E');
    expect(plain(place(0, 0))).toBe('00° 00.000′ N 000° 00.000′ E');
  });

  test('of a direction has three digits, and north is 000', () => {
    expect([0, 7.4, 359.6, 90].map(heading)).toEqual(['000°', '007°', '000°', '090°']);
  });

  test('of a time grows its unit, and says no hour of 60 minutes', () => {
    expect([0, 119.4, 120, 3_599, 7_199, 7_200, 9_000, -3].map(span).map(plain)).toEqual(['0 s', '119 s', '2 min', '60 min', '2 h', '2 h', '2 h 30 min', '0 s']);
  });

  test('of a length, a size and a rate', () => {
    expect([3.14, 1_012.34].map(metres).map(plain)).toEqual(['3.1 m', '1,012 m']);
    expect([0, 999, 1_500, 48_123_456, 81e9].map((count) => plain(size(count)))).toEqual(['0 B', '999 B', '1.5 kB', '48 MB', '81 GB']);
    expect(plain(rate(5_400))).toBe('5.4 kbit a second');
  });
});

describe('the look', () => {
  test('is the one chosen, and until then the computer’s', () => {
    expect([lookDrawn(null, true), lookDrawn(null, false), lookDrawn('day', true), lookDrawn('night', false)]).toEqual(['night', 'day', 'day', 'night']);
  });
});

describe('a notice on a small sheet', () => {
  test('is broken between its words, none of it lost, and a word that is too long stands alone', () => {
    const width = (line: string): number => line.length;
    expect(linesOf('no track is shown', 10, width)).toEqual(['no track', 'is shown']);
    expect(linesOf('no track is shown', 99, width)).toEqual(['no track is shown']);
    expect(linesOf('no unbreakableword here', 8, width)).toEqual(['no', 'unbreakableword', 'here']);
  });
});
