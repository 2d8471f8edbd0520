import { describe, expect, test } from 'vitest';
import { marked, readAnswer, readFindings, sayAnswer } from '../../desk/src/answers';

const HOLD = { do: 'hold', audience: null };
const answered = (value: unknown, status = 200) => ({ status, value });

describe('an answer', () => {
  test('is read for what it is, whatever came', () => {
    expect(readAnswer(null)).toEqual({ kind: 'unheard' });
    expect([401, 403].map((status) => readAnswer(answered({ ok: false, why: 'x' }, status)).kind)).toEqual(['barred', 'barred']);
    expect(readAnswer(answered({ ok: true, confirm: 'ab12', question: 'Sure?' }))).toEqual({ kind: 'asked', code: 'ab12', question: 'Sure?' });
    expect(readAnswer(answered({ ok: false, why: 'no dive' }))).toEqual({ kind: 'refused', why: 'no dive' });
    for (const broken of [null, [], 'ok', 7, { ok: 'true' }]) expect(readAnswer(answered(broken, 500))).toEqual({ kind: 'refused', why: '500' });
  });

  test('is said in words: what was done, what had gone already, and what is not on the disk', () => {
    const cut = { do: 'cut', from_us: 0, to_us: 1 };
    const value = { ok: true, taken: 'cut', already_out: { public: 'none of it', funders: 'the first 2 min of it' }, but: 'it is not on the disk yet' };
    const words = sayAnswer(cut, readAnswer(answered(value)));
    expect(words).toContain('funders ALREADY HAS the first 2 min of it.');
    expect(words).not.toContain('public');
    expect(words).toContain('But it is not on the disk yet.');
    expect(sayAnswer(HOLD, { kind: 'refused', why: 'no' })).toBe('Not taken: no');
  });

  test('says all that the ship said, as the command line does', () => {
    const said = (decision: { do: string }, value: object): string => sayAnswer(decision, readAnswer(answered({ ok: true, ...value })));
    expect(said({ do: 'early' }, { held: true, already_out: false })).toContain('HELD. It goes out when you resume it.');
    expect(said({ do: 'early' }, { held: true, already_out: false })).not.toContain('Released early');
    expect(said({ do: 'early' }, { held: true, already_out: true })).toContain('has that already');
    expect(said({ do: 'early' }, { held: false, already_out: false })).toBe('Released early.');
    const zone = said({ do: 'zone' }, { hidden_from: ['public'], exact_to: ['crew', 'funders'] });
    expect(zone).toContain('Hidden from public. NOT from crew and funders,');
    expect(said({ do: 'zone' }, { hidden_from: ['public'], exact_to: [] })).not.toContain('NOT');
    expect(said({ do: 'zone' }, { hidden_from: [], exact_to: ['crew'] })).toContain('Hidden from nobody.');
    expect(said({ do: 'unzone' }, { lifted_for: ['public'] })).toContain('Lifted for public.');
    const told = said({ do: 'programme' }, { told_as: { public: 7_200, funders: 0, crew: null } });
    for (const part of ['public: the next dive in about 2\u00a0h', 'funders: the next dive soon', 'crew: nothing is said']) expect(told).toContain(part);
    expect(said({ do: 'target' }, { place: { first_order: false } })).toContain('TOO SMALL');
    expect(said({ do: 'target' }, { place: { first_order: true } })).not.toContain('TOO SMALL');
    expect(said({ do: 'target' }, {})).not.toContain('TOO SMALL');
  });

  test('is said whatever shape the ship’s words have', () => {
    for (const odd of [null, 7, 'x', [1], {}]) {
      const value = { already_out: odd, held: odd, hidden_from: odd, exact_to: odd, lifted_for: odd, told_as: odd, place: odd };
      for (const verb of ['early', 'cut', 'zone', 'unzone', 'programme', 'target']) expect(sayAnswer({ do: verb }, readAnswer(answered({ ok: true, ...value })))).toMatch(/\.$/);
    }
  });

  test('to what is kept for approval is not that it was said', () => {
    const taken = readAnswer(answered({ ok: true }));
    expect(sayAnswer({ do: 'say', wait: true }, taken)).not.toBe(sayAnswer({ do: 'say' }, taken));
  });
});

describe('findings', () => {
  test('are read, and not known where nothing was answered', () => {
    expect(readFindings(answered({ findings: [{ why: 'a latitude', start: 2, end: 5 }] }))).toEqual([{ why: 'a latitude', start: 2, end: 5 }]);
    for (const broken of [null, answered({}), answered({ findings: [] }, 500), answered([])]) expect(readFindings(broken)).toBeNull();
  });

  test('mark their part of the text, counted in code points as the ship counts, and none of it twice', () => {
    const found = (start: number, end: number) => ({ why: '', start, end });
    expect(marked('🚢 at 61 N now', [found(5, 9)])).toEqual([{ text: '🚢 at ', found: false }, { text: '61 N', found: true }, { text: ' now', found: false }]);
    expect(marked('abcdef', [found(2, 4), found(1, 3)]).map(({ text }) => text).join('')).toBe('abcdef');
    expect(marked('abc', [])).toEqual([{ text: 'abc', found: false }]);
    expect(marked('abc', [found(0, 99)])).toEqual([{ text: 'abc', found: true }]);
  });
});
