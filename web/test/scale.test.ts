import { describe, expect, test } from 'vitest';
import { barLength, clockStep, depthDomain, depthEnd, gridStep, linear, multiples, planScale, roundStep, roundStepBelow, timeEnd } from '../src/scale';

describe('linear', () => {
  test('puts the ends of the domain on the ends of the range, and comes back', () => {
    const scale = linear(0, 1_400, 24, 404);
    expect([scale.to(0), scale.to(700), scale.to(1_400)]).toEqual([24, 214, 404]);
    for (const value of [0, 1, 333.3, 1_400]) expect(scale.from(scale.to(value))).toBeCloseTo(value, 9);
  });

  test('of an empty domain is its first pixel', () => {
    const scale = linear(5, 5, 10, 20);
    expect([scale.to(5), scale.from(15)]).toEqual([10, 5]);
  });
});

describe('steps', () => {
  test('are 1, 2 or 5 times a power of ten, just at or above, just at or below', () => {
    expect([0.011, 0.02, 1, 1.01, 3, 5, 7, 99, 100].map((least) => roundStep(least))).toEqual([0.02, 0.02, 1, 2, 5, 5, 10, 100, 100]);
    expect([0.019, 0.02, 1, 3, 5, 7, 99, 100, 1_000].map((most) => roundStepBelow(most))).toEqual([0.01, 0.02, 1, 2, 5, 5, 50, 100, 1_000]);
  });

  test('of time are the divisions of a clock', () => {
    expect([1, 6, 16, 31, 61, 301, 601, 1_801, 90_000].map(clockStep)).toEqual([5, 15, 30, 60, 120, 600, 900, 3_600, 172_800]);
  });

  test('fall on every multiple within the bounds, both ends included', () => {
    expect(multiples(-25, 50, 25)).toEqual([-25, 0, 25, 50]);
    expect(multiples(0.1, 0.5, 0.1)).toHaveLength(5);
    expect(multiples(3, 4, 10)).toEqual([]);
  });
});

describe('axes', () => {
  test('of a dive that is over end with it; of one that goes on, at a round time past it', () => {
    expect(timeEnd(13_200, true)).toBe(13_200);
    for (let end_s = 0; end_s < 40_000; end_s += 15) {
      const axis_s = timeEnd(end_s, false);
      expect(axis_s).toBeGreaterThan(end_s);
      expect(axis_s % 60).toBe(0);
    }
  });

  test('of time seldom move while a dive goes on', () => {
    const ends = new Set(Array.from({ length: 960 }, (_, i) => timeEnd(i * 15, false)));
    expect(ends.size).toBeLessThan(40);
  });

  test('of depth leave room below the deepest', () => {
    for (const deepest_m of [0, 9, 10, 94, 95, 1_140, 6_000, 11_000]) {
      expect(depthEnd(deepest_m)).toBeGreaterThan(deepest_m * 1.05);
      expect(depthEnd(deepest_m)).toBeLessThan(Math.max(deepest_m, 10) * 1.4);
    }
  });
});

describe('the domain of depth', () => {
  test('begins at the surface, whatever has been told', () => {
    expect(depthDomain(-2, 1_140, false)).toEqual([0, depthEnd(1_140)]);
    expect(depthDomain(NaN, NaN, false)).toEqual([0, depthEnd(0)]);
  });

  test('of relative depths lies about the one they are told from', () => {
    expect(depthDomain(-30, 10, true)).toEqual([-depthEnd(30), depthEnd(30)]);
    expect(depthDomain(NaN, NaN, true)).toEqual([-depthEnd(0), depthEnd(0)]);
  });
});

describe('a plan', () => {
  const bounds = { west: -100, east: 300, south: 0, north: 100 };

  test('has one scale for both directions, centred, up growing upwards', () => {
    const scale = planScale(bounds, 500, 300, 50, 10);
    expect(scale.pixelsPerMetre).toBe(1);
    expect([scale.x(-100), scale.x(300), scale.x(100)]).toEqual([50, 450, 250]);
    expect([scale.y(0), scale.y(100), scale.y(50)]).toEqual([200, 100, 150]);
    expect(scale.bounds).toEqual({ west: -150, east: 350, south: -100, north: 200 });
  });

  test('does not blow a single point up beyond the least size', () => {
    const scale = planScale({ west: 25, east: 25, south: 75, north: 75 }, 400, 200, 0, 200);
    expect(scale.pixelsPerMetre).toBe(1);
    expect([scale.x(25), scale.y(75)]).toEqual([200, 100]);
  });

  test('has grid lines no closer than asked, and a bar no longer', () => {
    for (const pixelsPerMetre of [0.01, 0.09, 0.4, 1, 3.7]) {
      expect(gridStep(pixelsPerMetre, 44) * pixelsPerMetre).toBeGreaterThanOrEqual(43.999);
      expect(barLength(pixelsPerMetre, 140) * pixelsPerMetre).toBeLessThanOrEqual(140.001);
      expect(barLength(pixelsPerMetre, 140) * pixelsPerMetre).toBeGreaterThan(55);
    }
  });
});
