import { describe, expect, test } from 'vitest';
import { Extent, groundOf, groundSeen, metresFrom, piecesOf, placedFinds, placedTargets, placeFrom, rounded, targetAt, wayTo, zonesAt } from '../../desk/src/ground';
import { readState, readTracks, type TrackPoint } from '../../desk/src/state';
import { PLACES } from './places';
import { STATE, TRACKS } from './states';

const state = readState(STATE);
const tracks = readTracks(TRACKS);

describe('metres from the origin', () => {
  test('are those of geographiclib, to five centimetres within 20 km and up to 80 degrees of latitude', () => {
    for (const [origin, place, east, north] of PLACES) {
      const [x, y] = metresFrom(origin, place);
      expect(Math.hypot(x - east, y - north), `${origin} ${place}`).toBeLessThan(0.05);
    }
  });

  test('lead back to the place, to five centimetres', () => {
    for (const [origin, place, east, north] of PLACES) {
      const [x, y] = metresFrom(place, placeFrom(origin, [east, north]));
      expect(Math.hypot(x, y), `${origin} ${place}`).toBeLessThan(0.05);
    }
  });

  test('of the origin itself are none, and across the date line they are few', () => {
    expect(metresFrom([-12.5, 71.25], [-12.5, 71.25]).map(Math.abs)).toEqual([0, 0]);
    const [east] = metresFrom([0, 179.999], [0, -179.999]);
    expect(east).toBeGreaterThan(222);
    expect(east).toBeLessThan(223);
  });
});

describe('the ground of the exact plan', () => {
  const isWithin = (east: number, north: number, ground: NonNullable<ReturnType<typeof groundOf>>): boolean =>
    east >= ground.west && east <= ground.east && north >= ground.south && north <= ground.north;

  test('of everything holds tracks, vehicles with their ring, targets, zones with their margin, the ship and the planned area', () => {
    const ground = groundOf(state, tracks, 'everything');
    if (!ground) throw new Error('no ground');
    for (const line of Object.values(tracks.exact)) for (const [, east, north] of line) expect(isWithin(east ?? NaN, north ?? NaN, ground)).toBe(true);
    for (const { at } of placedTargets(state, tracks)) expect(isWithin(...at, ground)).toBe(true);
    for (const [east, north] of [...(tracks.plan ?? []), tracks.ship ?? [0, 0]]) expect(isWithin(east, north, ground)).toBe(true);
    expect(ground.east).toBeGreaterThanOrEqual(140 + 60);
    expect(ground.south).toBeLessThanOrEqual(-60 - 40 - 20);
  });

  test('of the tracks alone isn’t widened by a planned area, and of one vehicle is the ground around it', () => {
    const far = { ...tracks, plan: [[-9_000, 0], [9_000, 0]] as const };
    expect(groundOf(state, far, 'tracks')?.west).toBeGreaterThan(-1_000);
    expect(groundOf(state, far, 'everything')?.west).toBeLessThanOrEqual(-9_000);
    expect(groundOf(state, far, { near: 'Moth' })).toEqual({ west: 0, east: 300, south: -50, north: 250 });
  });

  test('of one vehicle always shows it, and moves in steps of 50 m', () => {
    const seen = new Set<string>();
    for (let east_m = 0; east_m < 200; east_m += 0.5) {
      const moved = { ...state, vehicles: state.vehicles.map((one) => ({ ...one, east_m })) };
      const ground = groundOf(moved, tracks, { near: 'Moth' });
      expect(ground && isWithin(east_m, 96, ground)).toBe(true);
      seen.add(JSON.stringify(ground));
    }
    expect(seen.size).toBeLessThanOrEqual(5);
  });

  test('of a vehicle without a place, or of one nobody knows, is the ground of everything', () => {
    const lost = { ...state, vehicles: state.vehicles.map((one) => ({ ...one, east_m: null })) };
    expect(groundOf(lost, tracks, { near: 'Moth' })).toEqual(groundOf(lost, tracks, 'tracks'));
    expect(groundOf(state, tracks, { near: 'nobody' })).toEqual(groundOf(state, tracks, 'tracks'));
  });

  test('is none while nothing has a place', () => {
    const nothing = { ...tracks, exact: {}, ship: null, plan: null, covered: [], origin: null };
    expect(groundOf({ ...state, vehicles: [], zones: [] }, nothing, 'everything')).toBeNull();
  });

  test('holds what it holds, and grows in round steps', () => {
    const extent = new Extent();
    expect(extent.rounded()).toBeNull();
    extent.hold(0, 0, 10);
    extent.take([[0, 95, -33, null]]);
    expect(extent.rounded()).toEqual({ west: -20, east: 100, south: -40, north: 20 });
    const ends = new Set(Array.from({ length: 1_000 }, (_, i) => JSON.stringify(rounded({ west: 0, east: 100 + i / 2, south: 0, north: 50 }))));
    expect(ends.size).toBeLessThan(20);
  });
});

describe('targets', () => {
  test('are placed where their own position says, and nowhere without one', () => {
    const [target] = placedTargets(state, tracks);
    const [east, north] = target?.at ?? [NaN, NaN];
    // 0.0013 degrees south and 0.0006 east of the origin: about 110.6 km and 108.7 km a degree there, from memory.
    expect(north).toBeCloseTo(-143.8, 0);
    expect(east).toBeCloseTo(65.2, 0);
    expect(placedTargets({ ...state, targets: state.targets.map((one) => ({ ...one, latitude_deg: null })) }, tracks)).toEqual([]);
    expect(placedTargets(state, { ...tracks, origin: null })).toEqual([]);
  });
});

describe('finds', () => {
  test('are placed as their newest record says, and hold the ground open as targets do', () => {
    const [find] = placedFinds(state, tracks);
    expect(find?.at).toEqual(placedTargets(state, tracks)[0]?.at);
    expect(placedFinds({ ...state, finds: state.finds.map((one) => ({ ...one, longitude_deg: null })) }, tracks)).toEqual([]);
    const far = { ...state, finds: state.finds.map((one) => ({ ...one, latitude_deg: -12.52 })) };
    expect(groundOf(far, tracks, 'tracks')?.south).toBeLessThan(-2_200);
  });
});

describe('what lies at a place', () => {
  test('is the nearest target within reach, and every zone with its margin', () => {
    const at = placedTargets(state, tracks)[0]?.at ?? [0, 0];
    expect(targetAt(state, tracks, [at[0] + 4.9, at[1]], 5)?.name).toBe('T1');
    expect(targetAt(state, tracks, [at[0] + 5.1, at[1]], 5)).toBeNull();
    expect([59.9, 60.1].map((away) => zonesAt(state.zones, [90 + away, -60]).map(({ name }) => name))).toEqual([['stern'], []]);
    expect(zonesAt(state.zones.map((one) => ({ ...one, east_m: null })), [90, -60])).toEqual([]);
  });

  test('is told by distance and direction from north clockwise', () => {
    const ways = [[0, 10], [10, 0], [0, -10], [-10, 0], [3, 4]] as const;
    expect(ways.map((to) => Math.round(wayTo([0, 0], to).azimuth_deg))).toEqual([0, 90, 180, 270, 37]);
    expect(wayTo([1, 1], [4, 5]).distance_m).toBe(5);
  });
});

describe('a track', () => {
  const line = (moments: number[]): TrackPoint[] => moments.map((at) => [at, at, 0, null]);

  test('breaks where a silence was ten times as long as is usual, and long in itself', () => {
    expect(piecesOf(line([0, 10, 20, 130, 140, 150]), 60)).toEqual([[0, 3], [3, 6]]);
    expect(piecesOf(line([0, 10, 20, 120, 130, 140]), 60)).toEqual([[0, 6]]);
    expect(piecesOf(line([0, 1, 2, 50, 51, 52]), 60)).toEqual([[0, 6]]);
  });

  test('breaks where no place was told, as over a hidden zone, and what it holds doesn’t count that point', () => {
    const hidden: TrackPoint[] = [[0, null, null, 5], [15, 1, 2, 5], [30, 3, 4, 5], [45, null, null, 5], [60, 90, 80, 5]];
    expect(piecesOf(hidden, 60)).toEqual([[1, 3], [4, 5]]);
    expect(groundSeen({ Lantern: hidden.slice(0, 1) }, [])).toBeNull();
    expect(groundSeen({ Lantern: hidden }, [])).toEqual({ west: 0, east: 90, south: 0, north: 80 });
  });

  test('that tells its own silences is whole over a straight line of few points, and breaks where it says so', () => {
    const bends = line([0, 5, 10, 15, 20, 25, 600, 605, 610]);
    expect(piecesOf(bends, Infinity)).toEqual([[0, 9]]);
    const silent: TrackPoint[] = [...bends, [610, null, null, null], ...line([900, 905])];
    expect(piecesOf(silent, Infinity)).toEqual([[0, 9], [10, 12]]);
  });

  test('of one point or none is one piece or none', () => {
    expect(piecesOf(line([5]), 60)).toEqual([[0, 1]]);
    expect(piecesOf([], 60)).toEqual([]);
  });
});

describe('the ground an audience sees', () => {
  test('is that of its own frame, lines and present places', () => {
    const lines = { Lantern: [[0, 500, -300, 1_000], [15, 525, -300, 1_000]] } as const;
    expect(groundSeen(lines, [[700, -250]])).toEqual({ west: 500, east: 700, south: -300, north: -240 });
    expect(groundSeen({}, [])).toBeNull();
  });
});
