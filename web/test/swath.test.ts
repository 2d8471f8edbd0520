import { describe, expect, test } from 'vitest';
import vectors from '../../tests/vectors/figures.json';
import { decodeRecording } from '../src/decode';
import { bottom_s, way_m } from '../src/pace';
import { Dive } from '../src/store';
import { covered_m2, stripsBetween, stripsOf, unionArea_m2 } from '../src/swath';
import { diveFrames, frame, HEADER, heldDive, report, SILENT } from './frames';

const [RECORDED] = Object.values(import.meta.glob<string>('../../recordings/demo-dive.recording', { query: '?url&inline', import: 'default', eager: true }));

/** The demo's dive up to a dive time. */
function demo(upto_s: number): Dive {
  const bytes = Uint8Array.from(atob((RECORDED as string).split(',')[1] as string), (letter) => letter.charCodeAt(0));
  const [first, ...rest] = decodeRecording(bytes).records;
  if (first?.kind !== 'dive') throw new Error('the demo dive has no header');
  const dive = new Dive(first.dive, first.header);
  for (const record of rest) if (record.elapsed_s <= upto_s) dive.append(record);
  return dive;
}

type Invented = (typeof vectors.invented)[number];

/** The dive that `records_of` in make_figures_vectors.py makes. */
function invented({ tracks, tick_s, swath_m }: Invented): Dive {
  const each = Object.entries(tracks).filter(([, points]) => points !== undefined) as [string, (number[] | null)[]][];
  const last = Math.max(...each.map(([, points]) => points.length));
  const header = { ...HEADER, vehicles: each.map(([name]) => name), tick_s, swath_m };
  const rows = (at: number) => each.map(([, points]) => {
    const [east = null, north = null] = points[at] ?? [];
    return report(null, east, north, Math.floor(at / 5) % 2 === 0 ? 'bottom' : 'descent');
  });
  const ticks = Array.from({ length: last }, (_, at) => frame(1, at + 1, 1, at * tick_s, rows(at)));
  return heldDive([frame(1, 0, 0, 0, header), ...ticks]);
}

const within = (found: number | null, told: number | null, share: number) => {
  if (told === null || found === null) expect(found).toBe(told);
  else expect(Math.abs(found - told)).toBeLessThanOrEqual(share * told);
};

describe('the numbers of the page are those of the relay', () => {
  const cases = [
    ...vectors.demo.map((vector) => ({ name: `the demo up to ${vector.upto_s} s`, vector, dive: () => demo(vector.upto_s) })),
    ...vectors.invented.map((vector) => ({ name: vector.name, vector, dive: () => invented(vector) })),
  ];

  test.each(cases)('$name', ({ vector, dive: held }) => {
    const dive = held();
    const last = dive.count - 1;
    within(covered_m2(dive, last), vector.area_m2, 0.005);
    expect(dive.tracks.length).toBe(vector.vehicles.length);
    dive.tracks.forEach((track, vehicle) => {
      const told = vector.vehicles[vehicle];
      within(way_m(dive, track, last), told?.distance_m ?? null, 0.001);
      within(bottom_s(dive, track, last), told?.bottom_s ?? null, 0);
    });
  });
});

describe('the ground covered', () => {
  /** A vehicle at each of these places for a minute. */
  const walked = (places: readonly (readonly [number, number])[], swath_m: number | null = 100) => {
    const ticks = places.flatMap(([east, north]) => Array.from({ length: 4 }, () => [report(10, east, north), SILENT]));
    return heldDive(diveFrames(1, ticks, { ...HEADER, swath_m }));
  };

  test('of ten kilometres of line at a swath of 1,000 m is 10 km2 (common practice, no source)', () => {
    within(covered_m2(walked(Array.from({ length: 11 }, (_, i) => [1_000 * i, 0]), 1_000), 43), 10e6, 0.001);
  });

  test('grows with the moment shown, and can be asked for any', () => {
    const dive = walked([[0, 0], [100, 0], [200, 0]]);
    [[11, 20_000], [4, 10_000], [7, 10_000], [8, 20_000], [0, 0]].forEach(([i, told]) => within(covered_m2(dive, i as number), told as number, 0.002));
  });

  test('counts once what is covered twice', () => {
    within(covered_m2(walked([[0, 0], [500, 0], [0, 0]]), 11), 50_000, 0.002);
  });

  test('is unknown without a swath, or before a position', () => {
    expect([covered_m2(walked([[0, 0], [9, 9]], null), 7), covered_m2(walked([[0, 0]]), -1)]).toEqual([null, null]);
  });

  test('of a vehicle that stays is none', () => {
    expect(covered_m2(walked([[25, 25], [25, 25]]), 7)).toBe(0);
  });

  test('is the same however the dive is turned', () => {
    const turned = (angle: number) => walked([[0, 0], [300, 0], [300, 80], [0, 80]].map(([x, y]) => [(x as number) * Math.cos(angle) - (y as number) * Math.sin(angle), (x as number) * Math.sin(angle) + (y as number) * Math.cos(angle)]), 60);
    const areas = Array.from({ length: 16 }, (_, n) => covered_m2(turned((n * Math.PI) / 16), 15) as number);
    expect(Math.max(...areas) / Math.min(...areas)).toBeLessThan(1.003);
  });

  test('of a day-long dive is worked out well within a second of a processor', () => {
    // Of this process alone (nodejs.org/api/process.html): on a busy machine a second of the clock is none of work.
    const worked_ms = () => (globalThis as unknown as { process: { cpuUsage: () => { user: number } } }).process.cpuUsage().user / 1_000;
    const places = Array.from({ length: 1_440 }, (_, i) => [50 * Math.sin(i * 1.7) + i, 400 * Math.sin(i / 9)] as const);
    const strips = stripsOf(walked(places, 5), 4 * 1_440) ?? [];
    const begin_ms = worked_ms();
    unionArea_m2(strips, 5);
    expect(strips.length).toBe(1_439);
    expect(worked_ms() - begin_ms).toBeLessThan(1_000);
  });

  test('sample by sample comes to what it is of all strips at once, whichever moment is asked for first', () => {
    const places = Array.from({ length: 90 }, (_, i) => [200 * Math.sin(i / 7), 150 * Math.cos(i / 5)] as const);
    for (const moments of [[340, 8, 120, 359], [3, 41, 340]]) {
      const dive = walked(places, 60);
      for (const i of moments) within(covered_m2(dive, i), unionArea_m2(stripsOf(dive, i) ?? [], 60), 1e-9);
    }
  });

  test('of strips that many lines cross is measured by fewer lines, as before', () => {
    const dive = walked(Array.from({ length: 60 }, (_, i) => [0, i % 2 === 0 ? 0 : 4_000] as const), 20);
    within(covered_m2(dive, 239), 80_000, 0.05);
  });

  test('between two moments is of the strips that end there, and of the one before', () => {
    const dive = walked([[0, 0], [100, 0], [200, 0], [300, 0]]);
    const all = stripsOf(dive, 15) ?? [];
    expect(all.length).toBe(3);
    expect(stripsBetween(dive, -1, 15)).toEqual(all);
    expect(stripsBetween(dive, 8, 15)).toEqual(all.slice(1));
    expect(stripsBetween(dive, 12, 15)).toEqual([]);
  });
});
