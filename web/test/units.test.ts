import { afterEach, describe, expect, test } from 'vitest';
import * as format from '../src/format';
import { barLength, gridStep, multiples, roundStep } from '../src/scale';
import { isSystem, known, measureIn, SYSTEMS, units, type System } from '../src/units';
import { speak } from '../src/words';

const plain = (text: string): string => text.replaceAll('\u00a0', ' ');
const said = (system: System, say: () => string): string => {
  measureIn(system);
  return plain(say());
};

afterEach(() => {
  measureIn('metre');
  speak('en');
});

describe('units', () => {
  test('are as large as they are defined to be', () => {
    // NIST Special Publication 811 (2008), appendix B.8: foot 3.048 E-01 m, yard 9.144 E-01 m, both exact; acre of the
    // international foot 4 046.856 422 4 m2; The SI Brochure (9th edition): 1 nautical mile = 1852 m, exact.
    expect([SYSTEMS.foot.depth.size, SYSTEMS.fathom.plan.size]).toEqual([0.3048, expect.closeTo(0.9144, 12)]);
    // A fathom of six feet, 1.8288 m: International Hydrographic Organization, S-32, "fathom" (value from memory).
    expect(SYSTEMS.fathom.depth.size).toBeCloseTo(1.8288, 12);
    expect(SYSTEMS.fathom.largeArea.size).toBeCloseTo(4_046.8564224, 7);
    expect(SYSTEMS.fathom.speed.size * 3_600).toBeCloseTo(1_852, 9);
  });

  test('are said as people say them', () => {
    // "A tether of 1,000 m is spoken of as 3,300 ft": common practice, no source.
    expect(said('foot', () => format.length(1_000, 10))).toBe('3,300 ft');
    expect(said('foot', () => format.depth(1_000, 10))).toBe('3,300 ft');
    expect(said('metre', () => format.depth(1_000, 10))).toBe('1,000 m');
    expect(said('fathom', () => format.depth(1_140, 10))).toBe('625 fm');
    expect(said('fathom', () => format.length(200, 25))).toBe('220 yd');
    expect(said('fathom', () => format.speed(0.5144))).toBe('1 kn');
    expect(said('foot', () => format.speed(0.3048))).toBe('1 ft/s');
    expect(said('foot', () => format.area(929))).toBe('10,000 sq ft');
    expect(said('fathom', () => format.area(404_686))).toBe('100 acres');
  });

  test('never tell more than is known, nor much less', () => {
    for (const unit of [SYSTEMS.foot.depth, SYSTEMS.fathom.depth, SYSTEMS.fathom.plan]) {
      for (const step_m of [0.5, 1, 2, 5, 10, 25, 100]) {
        const ratio = (known(1_140, step_m, unit).step * unit.size) / step_m;
        // The steps 1, 2, 5, 10 lie at most a factor of 2.5 apart: the nearest is within its square root.
        expect(Math.max(ratio, 1 / ratio)).toBeLessThanOrEqual(Math.sqrt(2.5) + 1e-9);
        expect(Math.abs(known(1_140, step_m, unit).value * unit.size - 1_140)).toBeLessThanOrEqual((step_m * Math.sqrt(2.5)) / 2 + 1e-9);
      }
    }
    expect(known(1_137.3, 10, SYSTEMS.metre.depth)).toEqual({ value: 1_137.3, step: 10 });
  });

  test('put lines on round numbers of their own', () => {
    for (const system of Object.keys(SYSTEMS) as System[]) {
      measureIn(system);
      const isRound = (length_m: number, unit: number): boolean => /^[125](\.0+)?e/.test((length_m / unit).toExponential(6));
      for (const pixels of [0.02, 0.3, 1, 7]) {
        expect(isRound(gridStep(pixels, 44, units.plan.size), units.plan.size)).toBe(true);
        expect(gridStep(pixels, 44, units.plan.size) * pixels).toBeGreaterThanOrEqual(43.999);
        expect(isRound(barLength(pixels, 140, units.plan.size), units.plan.size)).toBe(true);
        expect(barLength(pixels, 140, units.plan.size) * pixels).toBeLessThanOrEqual(140.001);
      }
    }
    measureIn('fathom');
    const ticks = multiples(0, 1_200, roundStep(300, units.depth.size)).map((depth_m) => plain(format.axisDepth(depth_m, false)));
    expect(ticks).toEqual(['0 fm', '200', '400', '600']);
    expect(plain(format.axisDepth(0.5 * SYSTEMS.fathom.depth.size, true))).toBe('+0.5');
  });

  test('that are not there are none', () => {
    expect(['metre', 'cubit', 'toString', '', null].map(isSystem)).toEqual([true, false, false, false, false]);
  });

  test('follow the language', () => {
    speak('de');
    expect(said('fathom', () => format.depth(1_140, 10))).toBe('625 Faden');
    expect(said('metre', () => format.depth(1_140.5, 0.5))).toBe('1.140,5 m');
    expect(plain(format.delay(86_400, 172_799))).toBe('24 bis 48 Stunden');
    expect(format.figures('etwa 1.140,5 m').filter(({ figure }) => figure)).toEqual([{ text: '1.140,5', figure: true }]);
  });
});
