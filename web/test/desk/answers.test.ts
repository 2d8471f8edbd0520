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
