import { describe, expect, test } from 'vitest';
import { seconds } from '../../desk/src/quantities';
import { leftWords, StandingText } from '../../desk/src/standing_text';

const S = 1_000_000;
const told = { pinned: null, schedule: [], next_dive_in_s: 10_800, told_us: 500 * S };

/** A field in which somebody types. */
class Field {
  value = '';
  private told: () => void = () => undefined;
  addEventListener(_kind: 'input', run: () => void): void {
    this.told = run;
  }
  type(text: string): void {
    this.value = text;
    this.told();
  }
}

describe('the countdown to the next dive', () => {
  test('is filled in less what has passed since it was told, and can be sent again as it stands', () => {
    const left_s = [0, 3_600, 7_200, 10_800, 99_999].map((passed_s) => seconds(leftWords(told, (500 + passed_s) * S)));
    expect(left_s).toEqual([10_800, 7_200, 3_600, 0, 0]);
    expect(leftWords({ ...told, next_dive_in_s: null }, 600 * S)).toBe('');
    expect(seconds(leftWords({ ...told, told_us: null }, 9_000 * S))).toBe(10_800);
  });
});

describe('a field that shows what stands on the ship', () => {
  test('follows it while nobody types, and never moves under whoever is in it', () => {
    const field = new Field();
    const text = new StandingText(field);
    text.show('3 h', false);
    text.show('2 h', false);
    expect(field.value).toBe('2 h');
    text.show('1 h', true);
    expect(field.value).toBe('2 h');
  });

  test('keeps what was typed until it was sent, whatever another desk puts up', () => {
    const field = new Field();
    const text = new StandingText(field);
    text.show('Back soon', false);
    field.type('Back at the bow');
    text.show('Back later', false);
    expect(field.value).toBe('Back at the bow');
    text.sent();
    text.show('Back at the bow, now', false);
    expect(field.value).toBe('Back at the bow, now');
    text.clear();
    text.show('Back later', false);
    expect(field.value).toBe('');
  });
});
