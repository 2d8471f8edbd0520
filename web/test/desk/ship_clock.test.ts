import { describe, expect, test } from 'vitest';
import { BEHIND_S, ShipClock } from '../../desk/src/ship_clock';

const S = 1_000_000;

describe('the ship’s clock', () => {
  test('is known by the state that came quickest, and never ahead of the ship', () => {
    const clock = new ShipClock();
    expect(clock.now_us(5)).toBeNull();
    // The ship's moment is the page's second plus 100; each state takes so long to come.
    for (const [at_s, delay_s] of [[10, 0.4], [11, 0.05], [12, 0.9], [13, 0.3]] as const) {
      clock.hear((at_s + 100 - delay_s) * S, at_s);
      const now_us = clock.now_us(at_s) ?? NaN;
      expect(now_us).toBeLessThanOrEqual((at_s + 100) * S);
      expect(now_us).toBeGreaterThanOrEqual((at_s + 100 - delay_s) * S - 1);
    }
    expect(Math.abs((clock.now_us(20) ?? 0) - 119.95 * S)).toBeLessThan(0.001 * S);
  });

  test('goes on while states pile up on their way, and says how far behind they are', () => {
    const clock = new ShipClock();
    for (let at_s = 0; at_s < 10; at_s += 0.5) clock.hear(at_s * S, at_s);
    // From then on the way takes half as long again: after a minute what comes is twenty seconds old.
    for (let at_s = 10; at_s <= 70; at_s += 0.75) clock.hear((10 + (at_s - 10) / 1.5) * S, at_s);
    const shown_us = (10 + 60 / 1.5) * S;
    expect(clock.age_s(shown_us, 70)).toBeCloseTo(20, 1);
    expect(clock.age_s(shown_us, 70)).toBeGreaterThan(BEHIND_S);
    expect(Math.abs((clock.now_us(70) ?? 0) - 70 * S)).toBeLessThan(0.02 * S);
  });

  test('is not said to be behind where the page’s own clock is a little fast, over a whole day', () => {
    const clock = new ShipClock();
    let age_s = 0;
    for (let at_s = 0; at_s <= 86_400; at_s += 10) {
      const now_us = Math.round(at_s * (1 - 5e-5) * S);
      clock.hear(now_us, at_s);
      age_s = Math.max(age_s, clock.age_s(now_us, at_s));
    }
    expect(age_s).toBeLessThan(BEHIND_S);
  });

  test('begins anew with a new line, as the ship may have been set back, and ages on until then', () => {
    const clock = new ShipClock();
    clock.hear(1_000 * S, 10);
    clock.anew();
    expect(clock.age_s(1_000 * S, 30)).toBeCloseTo(20, 2);
    clock.hear(400 * S, 40);
    expect([clock.now_us(41), clock.age_s(400 * S, 41)]).toEqual([401 * S, 1]);
  });
});
