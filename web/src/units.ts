/**
 * The units a follower may choose, and how large they are.
 *
 * Rules: sizes are exact by definition; a value is never shown finer than it is known; depths and the plan may have
 * units of their own, as at sea.
 */

export interface Unit<Name extends string = 'metre' | 'foot' | 'yard' | 'fathom'> {
  readonly name: Name;
  /** In metres, metres per second or square metres. */
  readonly size: number;
}

export interface Units {
  readonly depth: Unit;
  readonly plan: Unit;
  readonly speed: Unit<'metresPerSecond' | 'feetPerSecond' | 'knot'>;
  readonly area: Unit<'squareMetre' | 'squareFoot' | 'squareYard'>;
  /** For areas of `LARGE` small ones and more. */
  readonly largeArea: Unit<'squareKilometre' | 'acre'>;
}

/** The international foot and yard are exact multiples of the metre (NIST Special Publication 811, appendix B.6). */
const FOOT_M = 0.3048;
const YARD_M = 3 * FOOT_M;
const FATHOM_M = 6 * FOOT_M;
/** The international nautical mile, 1,852 m, in an hour (The SI Brochure, 9th edition). */
const KNOT_MPS = 1_852 / 3_600;
const ACRE: Unit<'acre'> = { name: 'acre', size: 4_840 * YARD_M ** 2 };
const YARD: Unit = { name: 'yard', size: YARD_M };
const METRE: Unit = { name: 'metre', size: 1 };
const FOOT: Unit = { name: 'foot', size: FOOT_M };

/** What may be chosen. Whoever sounds in fathoms measures along the sea bed in yards, and speed in knots. */
export const SYSTEMS = {
  metre: {
    depth: METRE,
    plan: METRE,
    speed: { name: 'metresPerSecond', size: 1 },
    area: { name: 'squareMetre', size: 1 },
    largeArea: { name: 'squareKilometre', size: 1e6 },
  },
  foot: {
    depth: FOOT,
    plan: FOOT,
    speed: { name: 'feetPerSecond', size: FOOT_M },
    area: { name: 'squareFoot', size: FOOT_M ** 2 },
    largeArea: ACRE,
  },
  fathom: {
    depth: { name: 'fathom', size: FATHOM_M },
    plan: YARD,
    speed: { name: 'knot', size: KNOT_MPS },
    area: { name: 'squareYard', size: YARD_M ** 2 },
    largeArea: ACRE,
  },
} as const satisfies Readonly<Record<string, Units>>;

export type System = keyof typeof SYSTEMS;

export const isSystem = (name: string | null): name is System => name !== null && Object.hasOwn(SYSTEMS, name);

/** The units in use. */
export let units: Units = SYSTEMS.metre;

/** Use other units from now on; whoever drew with the old ones draws again. */
export function measureIn(system: System): void {
  units = SYSTEMS[system];
}

/**
 * Return `value`, in SI units and known in steps of `step`, in `unit`, with the step it is rounded to there: of 1, 2
 * or 5 times a power of ten the one nearest in ratio. What is known in SI units stays as it is.
 */
export function known(value: number, step: number, unit: Unit<string>): { value: number; step: number } {
  if (unit.size === 1) return { value, step };
  const least = step / unit.size;
  const power = 10 ** Math.floor(Math.log10(least));
  const ratio = (factor: number): number => Math.abs(Math.log((factor * power) / least));
  const factor = [1, 2, 5, 10].reduce((best, other) => (ratio(other) < ratio(best) ? other : best));
  return { value: Math.round(value / unit.size / (factor * power)) * factor * power, step: factor * power };
}
