import { describe, expect, test } from 'vitest';
import { keyed, letterOf, PLACES, type Press } from '../../desk/src/keys';
import { words } from '../../desk/src/words';

const press = (key: string, change: Partial<Press> = {}): Press => ({ key, code: '', ctrl: false, shift: false, other: false, ...change });
const SPACE = press(' ', { code: 'Space', ctrl: true, shift: true });

describe('the stop', () => {
  test('works from everywhere: while somebody types, and with the letters off', () => {
    for (const isTyping of [true, false])
      for (const lettersOn of [true, false]) for (const one of [press('F8'), SPACE]) expect(keyed(one, isTyping, lettersOn)).toEqual({ do: 'stop' });
  });

  test('is no key that text or a browser uses: no letter, no F8 with others, no plain space', () => {
    const others = [press(' ', { code: 'Space' }), press(' ', { code: 'Space', ctrl: true }), press('F8', { ctrl: true }), press('F8', { other: true }), press('F5'), press('Escape')];
    expect(others.map((one) => keyed(one, true, true)).filter((asked) => asked?.do === 'stop')).toEqual([]);
  });

  test('is said on the button', () => {
    expect(words.stop.key).toBe('F8');
    expect(words.stop.other.replace('or ', '').split('+')).toEqual(['Ctrl', 'Shift', 'Space']);
  });
});

describe('a letter', () => {
  test('leads to its place, decides nothing, and each place has one', () => {
    expect(Object.entries(PLACES).map(([key]) => keyed(press(key), false, true))).toEqual(Object.values(PLACES).map((to) => ({ do: 'go', to })));
    expect(Object.values(PLACES).map(letterOf)).toEqual(Object.keys(PLACES).map((key) => key.toUpperCase()));
    expect(Object.keys(words.keys.places).sort()).toEqual([...Object.values(PLACES)].sort());
  });

  test('is text while somebody types, the browser’s with Ctrl, Alt or Shift, and nothing once letters are off', () => {
    for (const key of Object.keys(PLACES)) {
      expect(keyed(press(key), true, true)).toBeNull();
      expect(keyed(press(key), false, false)).toBeNull();
      for (const change of [{ ctrl: true }, { shift: true }, { other: true }]) expect(keyed(press(key, change), false, true)).toBeNull();
    }
  });

  test('that no place has is left alone, and so is what an object inherits', () => {
    for (const key of ['q', 'Tab', 'Enter', 'toString', 'constructor']) expect(keyed(press(key), false, true)).toBeNull();
  });

  test('Escape leaves a field, and nothing else', () => {
    expect(keyed(press('Escape'), true, false)).toEqual({ do: 'leave' });
    expect(keyed(press('Escape'), false, true)).toBeNull();
  });
});
