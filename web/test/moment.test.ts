import { describe, expect, test } from 'vitest';
import { audienceOf, hashOf, linkedKey, momentOf } from '../src/moment';

describe('a link to a moment', () => {
  test('is read as it was written', () => {
    for (const moment of [{ dive: 2, at_s: 1_234 }, { dive: 7, at_s: 0 }, { dive: 12, at_s: 9_554.5 }, { dive: 3, at_s: null }]) {
      expect(momentOf(hashOf(moment))).toEqual(moment);
    }
    expect([hashOf({ dive: 2, at_s: 1_234 }), hashOf(null)]).toEqual(['#dive=2&at=1234', '']);
  });

  test('keeps the tenth of a second', () => {
    expect(hashOf({ dive: 1, at_s: 31.4159 })).toBe('#dive=1&at=31.4');
  });

  test.each(['', '#', '#now', '#dive=', '#dive=0', '#dive=-1', '#dive=1e9', '#at=5', '#dive=1234567890', '#dive=two'])('that names no dive is none: %s', (hash) => {
    expect(momentOf(hash)).toBeNull();
  });

  test.each(['-5', '1e3', 'NaN', '123456789', '5;', ''])('whose moment is mangled still names its dive: %s', (at) => {
    expect(momentOf(`#dive=2&at=${at}`)).toEqual({ dive: 2, at_s: null });
  });

  test('may hold more than this page knows', () => {
    expect(momentOf('#dive=2&view=plan&at=5')).toEqual({ dive: 2, at_s: 5 });
  });
});

describe('the key of a link', () => {
  const key = '0f'.repeat(32);

  test('is read, in capitals too, and stays in the link to a moment', () => {
    expect([linkedKey(`#key=${key}`), linkedKey(`#dive=2&at=5&key=${key.toUpperCase()}`)]).toEqual([key, key]);
    expect([hashOf({ dive: 2, at_s: 5 }, key), hashOf(null, key)]).toEqual([`#dive=2&at=5&key=${key}`, `#key=${key}`]);
    expect(momentOf(hashOf({ dive: 2, at_s: 5 }, key))).toEqual({ dive: 2, at_s: 5 });
  });

  test.each(['', '#', '#key=', `#key=${'0f'.repeat(31)}`, `#key=${'0g'.repeat(32)}`, `#key=${'0f'.repeat(33)}`])('that is mangled is none: %s', (hash) => {
    expect(linkedKey(hash)).toBeNull();
  });
});

describe('an audience', () => {
  test('is what the address asks for', () => {
    expect([audienceOf('?audience=funders'), audienceOf('?a=b'), audienceOf('')]).toEqual(['funders', null, null]);
  });
});
