import { describe, expect, test } from 'vitest';
import { keyed, keyedOnRibbon, type Focus } from '../src/keys';
import { words } from '../src/words';

const press = (key: string, change: object = {}) => ({ key, shift: false, other: false, repeat: false, ...change });
const LETTERS = [' ', 'p', 'n', 'l', 'b', 's', 'f', 'c'];
const ALL = [...LETTERS, 'ArrowLeft', 'ArrowRight'];

describe('a key', () => {
  test('does what the list on the page says of it, and the list has them all', () => {
    expect(ALL.filter((key) => keyed(press(key), 'page', true) === null)).toEqual([]);
    const listed = words.time.keys.rows.flatMap(([keys]) => keys.split(/[\s,+]+/)).filter((key) => !['Shift', '\u2190', '\u2192', 'Space'].includes(key));
    expect(listed.map((key) => key.toLowerCase()).sort()).toEqual(LETTERS.slice(1).sort());
  });

  test('is never taken from a control that has keys of its own', () => {
    expect(ALL.filter((key) => keyed(press(key), 'field', true) !== null)).toEqual([]);
  });

  test('with a letter on it, and Space, is left to a button', () => {
    expect(LETTERS.filter((key) => keyed(press(key), 'button', true) !== null)).toEqual([]);
    expect(keyed(press('ArrowLeft'), 'button', true)).toEqual({ do: 'step', ticks: -1 });
  });

  test('with Ctrl, Alt or Meta is left to the browser, and so is every key once they are off', () => {
    for (const focus of ['page', 'button', 'field'] as Focus[]) {
      expect(ALL.filter((key) => keyed(press(key, { other: true }), focus, true) !== null)).toEqual([]);
      expect(ALL.filter((key) => keyed(press(key), focus, false) !== null)).toEqual([]);
    }
  });

  test('held down steps on, and plays or jumps once', () => {
    expect(keyed(press('ArrowRight', { repeat: true }), 'page', true)).toEqual({ do: 'step', ticks: 1 });
    expect(keyed(press(' ', { repeat: true }), 'page', true)).toBeNull();
  });

  test('with Shift goes five minutes, and the same letter in capitals is the same key', () => {
    expect(keyed(press('ArrowRight', { shift: true }), 'page', true)).toEqual({ do: 'skip', by_s: 300 });
    expect(keyed(press('L'), 'page', true)).toEqual({ do: 'follow' });
  });

  test('that scrolls a page goes on scrolling it', () => {
    for (const key of ['ArrowUp', 'ArrowDown', 'PageUp', 'PageDown', 'Home', 'End', 'Tab', 'Enter', 'Escape']) expect(keyed(press(key), 'page', true)).toBeNull();
  });
});

describe('on the ribbon a key', () => {
  test('is that of a slider (ARIA Authoring Practices, slider pattern)', () => {
    const ends = ['Home', 'End'].map((key) => keyedOnRibbon(press(key), 900));
    expect(ends).toEqual([{ do: 'seek', at_s: 0 }, { do: 'seek', at_s: 900 }]);
    const on = ['ArrowRight', 'ArrowUp', 'PageUp'].map((key) => keyedOnRibbon(press(key), 900));
    expect(on).toEqual([{ do: 'step', ticks: 1 }, { do: 'step', ticks: 1 }, { do: 'skip', by_s: 300 }]);
    expect([keyedOnRibbon(press('l'), 900), keyedOnRibbon(press('Home', { other: true }), 900)]).toEqual([null, null]);
  });
});
