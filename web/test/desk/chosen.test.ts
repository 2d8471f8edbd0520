import { describe, expect, test } from 'vitest';
import { chosenOf, drawnTo, grabbed, intervalOf, markOf, NONE, pressed, takenUp, type Chosen, type Reach } from '../../desk/src/chosen';

const S = 1_000_000;
const reach: Reach = { from_us: 1_000 * S, to_us: 2_000 * S, step_us: 5 * S };

/** What is chosen after presses, "+" before a key meaning Shift. */
function after(keys: readonly string[], start: Chosen = NONE, within: Reach = reach): Chosen {
  return keys.reduce<Chosen>((chosen, key) => {
    const next = pressed(chosen, { key: key.replace(/^\+/, ''), shift: key.startsWith('+') }, within);
    return next === null || next === 'cut' ? chosen : next;
  }, start);
}

const seconds = (chosen: Chosen): readonly [number, number] | null => {
  const interval = intervalOf(chosen);
  return interval && [interval.from_us / S, interval.to_us / S];
};

describe('by keyboard', () => {
  test('arrows move the mark from now, Page Up and Page Down further, and nothing is chosen by that', () => {
    expect(markOf(NONE, reach.to_us)).toBe(2_000 * S);
    expect(markOf(after(['ArrowLeft', 'ArrowLeft', 'ArrowRight']), reach.to_us)).toBe(1_995 * S);
    expect(markOf(after(['PageDown', 'ArrowUp']), reach.to_us)).toBe(1_945 * S);
    expect(seconds(after(['ArrowLeft', 'PageDown', 'Home']))).toBeNull();
  });

  test('with Shift they open an interval at the mark, and go on from there', () => {
    expect(seconds(after(['+ArrowLeft']))).toEqual([1_995, 2_000]);
    expect(seconds(after(['PageDown', '+ArrowRight', '+ArrowRight']))).toEqual([1_940, 1_950]);
    expect(seconds(after(['PageDown', '+PageDown', '+ArrowRight']))).toEqual([1_885, 1_940]);
  });

  test('without Shift they move the end in hand of an interval that is open, and Space takes the other end', () => {
    expect(seconds(after(['PageDown', '+PageDown', 'ArrowLeft']))).toEqual([1_875, 1_940]);
    expect(seconds(after(['PageDown', '+PageDown', ' ', 'ArrowRight']))).toEqual([1_880, 1_945]);
    expect(after([' '])).toEqual(NONE);
  });

  test('Home and End go to the oldest that can still be cut and to now', () => {
    expect(seconds(after(['+Home']))).toEqual([1_000, 2_000]);
    expect(seconds(after(['Home', '+End']))).toEqual([1_000, 2_000]);
    expect(seconds(after(['PageDown', '+End']))).toEqual([1_940, 2_000]);
  });

  test('Escape lets go of the interval and keeps the mark; Delete cuts, where there is something to cut', () => {
    const open = after(['PageDown', '+PageDown']);
    expect(seconds(after(['Escape'], open))).toBeNull();
    expect(after(['Escape'], open).mark_us).toBe(1_880 * S);
    expect(pressed(open, { key: 'Delete', shift: false }, reach)).toBe('cut');
    expect(pressed(NONE, { key: 'Delete', shift: false }, reach)).toEqual(NONE);
  });

  test('other keys are left to the page', () => {
    for (const key of ['Enter', 'Tab', 's', 'S', 'Backspace', 'F5']) expect(pressed(NONE, { key, shift: true }, reach)).toBeNull();
  });

  test('no press goes past now or before the slowest edge', () => {
    expect(markOf(after(['ArrowRight', 'PageUp']), reach.to_us)).toBe(2_000 * S);
    expect(markOf(after(Array<string>(40).fill('PageDown')), reach.to_us)).toBe(1_000 * S);
  });

  test('an end that the slowest edge has passed stays, and can only be moved forward', () => {
    const old = chosenOf({ from_us: 900 * S, to_us: 1_100 * S });
    expect(seconds(after([' ', 'ArrowLeft'], old))).toEqual([900, 1_100]);
    expect(seconds(after([' ', 'ArrowRight'], old))).toEqual([1_000, 1_100]);
    expect(seconds(after(['ArrowRight'], old))).toEqual([900, 1_105]);
  });
});

describe('by dragging', () => {
  test('an interval is opened where the drag begins, to either side', () => {
    const start = takenUp(NONE, 1_500 * S, 10 * S, reach);
    expect(intervalOf(start)).toBeNull();
    expect(seconds(drawnTo(start, 1_600 * S, reach))).toEqual([1_500, 1_600]);
    expect(seconds(drawnTo(drawnTo(start, 1_600 * S, reach), 1_450 * S, reach))).toEqual([1_450, 1_500]);
  });

  test('an end near by is taken up again, the nearer one', () => {
    const open = chosenOf({ from_us: 1_500 * S, to_us: 1_510 * S });
    expect(grabbed(open, 1_503 * S, 10 * S)).toBe('stays');
    expect(grabbed(open, 1_507 * S, 10 * S)).toBe('mark');
    expect(grabbed(open, 1_521 * S, 10 * S)).toBeNull();
    expect(grabbed(NONE, 1_500 * S, 10 * S)).toBeNull();
    expect(seconds(drawnTo(takenUp(open, 1_498 * S, 10 * S, reach), 1_400 * S, reach))).toEqual([1_400, 1_510]);
    expect(seconds(drawnTo(takenUp(open, 1_515 * S, 10 * S, reach), 1_700 * S, reach))).toEqual([1_500, 1_700]);
  });

  test('past either end of what can be chosen, the interval ends there, in whole microseconds', () => {
    const start = takenUp(NONE, 1_500 * S, 10 * S, reach);
    expect(seconds(drawnTo(start, 9_000 * S, reach))).toEqual([1_500, 2_000]);
    expect(seconds(drawnTo(start, 0, reach))).toEqual([1_000, 1_500]);
    expect(Number.isInteger(drawnTo(start, 1_234_567_890.25, reach).mark_us)).toBe(true);
    expect(Number.isInteger(takenUp(NONE, 1_234_567_890.25, 1, reach).mark_us)).toBe(true);
  });
});

describe('what is chosen', () => {
  test('stays where it is while now runs on', () => {
    const open = chosenOf({ from_us: 1_900 * S, to_us: 2_000 * S });
    expect(seconds(after(['ArrowLeft'], open, { ...reach, from_us: 1_100 * S, to_us: 2_100 * S }))).toEqual([1_900, 1_995]);
  });
});
