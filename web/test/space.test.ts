import { OrthographicCamera, Vector3 } from 'three';
import { describe, expect, test } from 'vitest';
import { axesOf, moved, moveOf, nearer, project, sideOf, sightOf, START, turned, type Point } from '../src/space/camera';
import { spaceCaption, spaceLabel, spaceMissing } from '../src/space/describe';
import { frameOf, type Frame3 } from '../src/space/frame3';
import { place } from '../src/space/ink';
import { cellsOf, stepsOf } from '../src/space/seabed';
import { dashed, nowOf, ribbonOf, waysOf } from '../src/space/track';
import type { Dive } from '../src/store';
import { words } from '../src/words';
import { diveFrames, HEADER, heldDive, report, SILENT } from './frames';
import type { State } from '../src/state';

type Values = readonly unknown[];
const one = (ticks: readonly Values[], header: object = {}): Dive => heldDive(diveFrames(1, ticks.map((tick) => [tick, SILENT]), { ...HEADER, ...header }));
const framed = (dive: Dive): Frame3 => {
  const frame = frameOf(dive);
  if (frame === null) throw new Error('no frame');
  return frame;
};
const cells = (dive: Dive, at = dive.count - 1) => cellsOf(dive, at, framed(dive).side_m, framed(dive).origin);
const stateOf = (dive: Dive) => ({ dive, at: dive.count - 1 }) as unknown as State;

describe('camera', () => {
  test('projects as the orthographic camera of three.js does, from wherever it looks', () => {
    for (const turn of [START, { azimuth_deg: 200, elevation_deg: 90, zoom: 3 }, { azimuth_deg: 301, elevation_deg: 5, zoom: 1.7 }]) {
      const sight = sightOf(turn, { across: 120, tall: 40 }, [30, 8, -20], 640, 400, 20);
      const camera = new OrthographicCamera();
      place(camera, sight, 1_000);
      for (const point of [[0, 0, 0], [100, 20, -60], [-70, -40, 15]] as Point[]) {
        const theirs = new Vector3(...point).project(camera);
        const [x, y] = project(sight, point);
        expect(x).toBeCloseTo(((theirs.x + 1) / 2) * 640, 3);
        expect(y).toBeCloseTo(((1 - theirs.y) / 2) * 400, 3);
        expect(Math.abs(theirs.z)).toBeLessThan(1);
      }
    }
  });

  test('keeps to a right-handed frame of axes of length 1', () => {
    const { right, up, eye } = axesOf({ azimuth_deg: 77, elevation_deg: 41, zoom: 1 });
    const cross = new Vector3(...right).cross(new Vector3(...up));
    cross.toArray().forEach((value, n) => expect(value).toBeCloseTo(eye[n] as number, 12));
    expect(Math.hypot(...up)).toBeCloseTo(1, 12);
  });

  test('shows all of what it is to reach, whichever way it is turned', () => {
    const reach = { across: 100, tall: 30 };
    for (let azimuth_deg = 0; azimuth_deg < 360; azimuth_deg += 15) {
      for (const elevation_deg of [5, 35, 60, 90]) {
        const sight = sightOf({ azimuth_deg, elevation_deg, zoom: 1 }, reach, [0, 0, 0], 360, 300, 20);
        for (const [x, z] of [[100, 0], [0, 100], [-70, 70]] as const) {
          for (const y of [-30, 30]) {
            const [left, top] = project(sight, [x, y, z]);
            expect(left).toBeGreaterThanOrEqual(19.9);
            expect(left).toBeLessThanOrEqual(340.1);
            expect(top).toBeGreaterThanOrEqual(19.9);
            expect(top).toBeLessThanOrEqual(280.1);
          }
        }
      }
    }
  });

  test('never tips over, never goes further than all, and comes back to its start', () => {
    expect(turned(START, 0, 500).elevation_deg).toBe(90);
    expect(turned(START, 0, -500).elevation_deg).toBe(5);
    expect(turned(START, -40, 0).azimuth_deg).toBe(350);
    expect(nearer(START, 1e9).zoom).toBe(8);
    expect(nearer(START, 1e-9).zoom).toBe(1);
    expect(moved(moved(START, 'left'), 'right')).toEqual(START);
    expect(moved(moved(nearer(START, 3), 'higher'), 'reset')).toEqual(START);
    expect(['ArrowLeft', '+', '-', 'Home', 'q'].map(moveOf)).toEqual(['left', 'nearer', 'further', 'reset', null]);
  });

  test('tells the side of the plan it stands on', () => {
    expect([0, 90, 180, 270, 350].map((azimuth_deg) => sideOf({ ...START, azimuth_deg }))).toEqual(['foot', 'right', 'top', 'left', 'foot']);
  });
});

describe('seabed', () => {
  const dive = one([
    report(900, 0, 0, 'descent'),
    report(1_000, 25, 0),
    report(1_010, 50, 0),
    report(1_000, 50, 0),
    report(980, 75, 0, 'bottom', 'mid-water'),
    report(1_000, null, null),
    report(null, 100, 0),
    report(1_020, 150, 0),
    report(700, 175, 0, 'ascent'),
  ]);

  test('has a step only where depth and place were told on the bottom leg, and never in mid-water', () => {
    expect(cells(dive).map(({ east_m, north_m, depth_m }) => [east_m, north_m, depth_m])).toEqual([[25, 0, 1_000], [50, 0, 1_010], [150, 0, 1_020]]);
  });

  test('tells nothing of later than the moment shown', () => {
    expect(cells(dive, 1).map(({ depth_m }) => depth_m)).toEqual([1_000]);
    expect(cells(dive, -1)).toEqual([]);
  });

  test('has walls between squares that touch and differ, and nothing between those apart', () => {
    const { faces, edges } = stepsOf(cells(dive), 25, framed(dive));
    expect(faces.length).toBe((3 + 1) * 18);
    expect(edges.length).toBe((3 + 1) * 24);
    const rights = faces.filter((_, n) => n % 3 === 0);
    const { point } = framed(dive);
    const [from, to] = [point(62.5, 0, 0)[0], point(137.5, 0, 0)[0]];
    expect(rights.some((x) => x > from && x < to)).toBe(false);
    expect(rights.some((x) => x === to)).toBe(true);
  });

  test('keeps every height at one that was told', () => {
    const frame = framed(dive);
    const told = new Set([1_000, 1_010, 1_020].map((depth_m) => frame.point(0, 0, depth_m)[1]));
    const heights = stepsOf(cells(dive), 25, frame).faces.filter((_, n) => n % 3 === 1);
    expect(new Set(heights)).toEqual(told);
  });

  test('takes squares that begin anywhere as the released ones', () => {
    expect(cells(one([report(10, 12.5, 37.5), report(20, 37.5, 37.5)])).map(({ east_m, north_m }) => [east_m, north_m])).toEqual([[12.5, 37.5], [37.5, 37.5]]);
  });
});

describe('frame', () => {
  test('states an enlargement that keeps the drawing flatter than broad', () => {
    for (const rise of [0, 1, 30, 400]) {
      const dive = one([report(1_000, 0), report(1_000 + rise, 200)]);
      const { exaggeration, reach } = framed(dive);
      expect([1, 2, 5, 10, 20]).toContain(exaggeration);
      if (exaggeration > 1) expect(rise * exaggeration).toBeLessThanOrEqual(0.6 * reach.across);
    }
  });

  test('is none where depth and place are never told together', () => {
    expect(frameOf(one([report(10), report(null, 5)]))).toBeNull();
    expect(frameOf(one([]))).toBeNull();
  });

  test('keeps a plain scale of lengths, and up is up', () => {
    const { point, exaggeration } = framed(one([report(10, 0), report(30, 100)]));
    expect(point(10, 0, 10)[0] - point(0, 0, 10)[0]).toBeCloseTo(10, 9);
    expect(point(0, 0, 10)[2] - point(0, 10, 10)[2]).toBeCloseTo(10, 9);
    expect(point(0, 0, 10)[1] - point(0, 0, 30)[1]).toBeCloseTo(20 * exaggeration, 9);
  });
});

describe('track', () => {
  test('has a corner at each change, and ends where it is not told', () => {
    const dive = one([report(10, 0), report(10, 0), report(20, 0), report(20, 25), SILENT, report(20, 50), report(20, 75)]);
    const ways = waysOf(dive.tracks[0]!, 6, framed(dive));
    expect(ways.map((way) => way.length)).toEqual([3, 2]);
    expect(waysOf(dive.tracks[0]!, 1, framed(dive)).map((way) => way.length)).toEqual([1]);
  });

  test('is a strip of its width beside its way', () => {
    const { faces, edges } = ribbonOf([[0, 0, 0], [30, 0, 40], [30, 9, 40]], 2);
    expect(faces.length).toBe(2 * 18);
    expect(edges).toEqual([0, 0, 0, 30, 0, 40, 30, 0, 40, 30, 9, 40]);
    expect(Math.hypot(faces[0]! - faces[3]!, faces[2]! - faces[5]!)).toBeCloseTo(2, 9);
    expect(faces.every(Number.isFinite)).toBe(true);
  });

  test('is cut into dashes that are half of it, round corners too', () => {
    const pieces = dashed([[0, 0, 0], [25, 0, 0], [25, 0, 35]], 10);
    const long = (piece: Point[]) => piece.slice(1).reduce((sum, to, n) => sum + Math.hypot(to[0] - piece[n]![0], to[2] - piece[n]![2]), 0);
    expect(pieces.map(long)).toEqual([10, 10, 10]);
    expect(pieces[1]).toEqual([[20, 0, 0], [25, 0, 0], [25, 0, 5]]);
    expect(dashed([[0, 0, 0]], 10)).toEqual([]);
  });

  test('marks where a vehicle was last told, and whether it still is', () => {
    const dive = one([report(10, 0), report(20, 25), SILENT]);
    const frame = framed(dive);
    expect(nowOf(dive, dive.tracks[0]!, 1, frame)).toEqual({ at: frame.point(25, 25, 20), heard: true });
    expect(nowOf(dive, dive.tracks[0]!, 2, frame)).toEqual({ at: frame.point(25, 25, 20), heard: false });
    expect(nowOf(dive, dive.tracks[0]!, -1, frame)).toBeNull();
    expect(nowOf(dive, dive.tracks[1]!, 2, frame)).toBeNull();
  });
});

describe('words of the drawing', () => {
  const said = (dive: Dive) => spaceMissing(dive, dive.count - 1, frameOf(dive));

  test('say why there is nothing to see', () => {
    const without = (field: string) => HEADER.fields.filter((name) => name !== field);
    expect(said(one([report(10, 0)], { fields: without('track') }))).toBe(words.plan.noTrack);
    expect(said(one([report(10)]))).toBe(words.plan.noTrackYet);
    expect(said(one([report(null, 0)], { fields: without('depth') }))).toBe(words.space.noDepth);
    expect(said(one([report(null, 0)]))).toBe(words.space.noDepthYet);
    expect(said(one([report(10, 0)]))).toBeNull();
    expect(spaceMissing(one([report(null, 0), report(10, 0)]), 0, framed(one([report(10, 0)])))).toBe(words.space.noDepthYet);
  });

  test('say how coarse, how high and from where the seabed is told', () => {
    const dive = one([report(10, 0), report(20, 25)]);
    const told = spaceCaption(dive, framed(dive), 2, 20);
    expect(told).toContain('each 25\u00a0m square');
    expect(told).toContain('steps of 10\u00a0m');
    expect(told).toMatch(/Heights are drawn (?:\d+ times|to the scale)/);
    expect(told).not.toContain(words.space.relative);
    const relative = one([report(0, 0), report(10, 25)], { depth: 'relative' });
    expect(spaceCaption(relative, framed(relative), 2, 20)).toContain(words.space.relative);
    expect(spaceCaption(dive, framed(dive), 0, 20)).toContain(words.space.noSeabedYet);
    const noLeg = one([report(10, 0, 0, null)], { fields: ['track', 'depth'] });
    expect(spaceCaption(noLeg, framed(noLeg), 0, 20)).toContain(words.space.noLeg);
  });

  test('label the drawing with where it is seen from and where each vehicle is', () => {
    const dive = one([report(10, 0), report(20, 25)]);
    const label = spaceLabel(stateOf(dive), START, framed(dive), 2);
    expect(label).toContain('seen from the foot of the plan and from 35\u00b0 above');
    expect(label).toContain('Lantern is marked; depth: about 20\u00a0m.');
    expect(label).toContain('Where Moth is in the drawing is not told now.');
    expect(label).toContain('2 squares');
  });
});
