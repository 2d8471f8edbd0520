import { describe, expect, test, vi } from 'vitest';
import { Dive, STILLS } from '../src/store';
import { decoded, diveFrames, frame, heldDive, HEADER, jpeg, report, SILENT } from './frames';

const held = () => heldDive(diveFrames(1, [[report(100), SILENT], [report(200, 25, 50), report(190)], [SILENT, SILENT]]));
const tick = (seq: number, elapsed_s: number, ...reports: unknown[]) => decoded(frame(1, seq, 1, elapsed_s, reports));

describe('a dive', () => {
  test('holds what was released, withheld as NaN and never as zero', () => {
    const [lantern, moth] = held().tracks;
    expect(Array.from(lantern?.depth_m.subarray(0, 3) ?? [])).toEqual([100, 200, NaN]);
    expect(Array.from(lantern?.east_m.subarray(0, 3) ?? [])).toEqual([NaN, 25, NaN]);
    expect(moth?.depth_m[0]).toBeNaN();
    expect([lantern?.leg(1), lantern?.mode(1), lantern?.altitude(1)]).toEqual(['bottom', 'tethered', 'near the bottom']);
    expect([lantern?.leg(2), lantern?.mode(2), lantern?.altitude(2)]).toEqual([null, null, null]);
  });

  test('keeps every word apart from every other', () => {
    const words = [...['deck', 'descent', 'bottom', 'ascent'].map((leg) => ['reporting', 0, 0, 0, 0, 'mid-water', 'surface', leg, 0, 0])];
    const dive = heldDive(diveFrames(1, words.map((one) => [one, SILENT])));
    const track = dive.tracks[0];
    expect([0, 1, 2, 3].map((i) => [track?.leg(i), track?.mode(i), track?.altitude(i)])).toEqual(
      ['deck', 'descent', 'bottom', 'ascent'].map((leg) => [leg, 'surface', 'mid-water']),
    );
  });

  test('refuses a gap, and stays as it was', () => {
    const dive = held();
    expect(dive.append(tick(5, 60, SILENT, SILENT))).toBe('gap');
    expect([dive.count, dive.seq]).toEqual([3, 3]);
    expect(dive.append(tick(4, 45, SILENT, SILENT))).toBe('taken');
  });

  test('refuses a duplicate, and stays as it was', () => {
    const dive = held();
    expect(dive.append(tick(3, 30, report(999), SILENT))).toBe('duplicate');
    expect(dive.deepest_m(2)).toBe(200);
  });

  test('refuses records of another dive, of other vehicles, and of time that runs back', () => {
    const dive = held();
    expect(dive.append(decoded(frame(2, 4, 3, 0, null)))).toBe('another dive');
    expect(dive.append(tick(4, 45, SILENT))).toBe('misshapen');
    expect(dive.append(tick(4, 29, SILENT, SILENT))).toBe('misshapen');
    expect(dive.append(decoded(frame(1, 4, 2, 45, [2, 'whose?'])))).toBe('misshapen');
  });

  test('takes nothing after its end', () => {
    const dive = held();
    expect(dive.append(decoded(frame(1, 4, 3, 45, null)))).toBe('taken');
    expect([dive.over, dive.end_s]).toEqual([true, 45]);
    expect(dive.append(decoded(frame(1, 5, 2, 60, [null, 'late'])))).toBe('after the end');
  });

  test('counts the tree heads of the exact record, and when the last one came', () => {
    const dive = held();
    expect([dive.heads, dive.headed_s]).toEqual([0, NaN]);
    for (const [seq, elapsed_s] of [[4, 45], [5, 105]] as const) expect(dive.append(decoded(frame(1, seq, 7, elapsed_s, [new Uint8Array(32)])))).toBe('taken');
    expect([dive.heads, dive.headed_s, dive.end_s, dive.unknown, dive.count]).toEqual([2, 105, 105, 0, 3]);
  });

  test('keeps its targets', () => {
    const dive = held();
    dive.append(decoded(frame(1, 4, 4, 45, [0, 'Echo 7', 'rock'])));
    expect(dive.targets).toEqual([{ elapsed_s: 45, vehicle: 0, name: 'Echo 7', verdict: 'rock' }]);
    expect(dive.append(decoded(frame(1, 5, 4, 45, [5, 'Echo 8', 'rock'])))).toBe('misshapen');
  });

  test('counts a record of an unknown kind and goes on behind it', () => {
    const dive = held();
    expect(dive.append(decoded(frame(1, 4, 9, 45, null)))).toBe('taken');
    expect(dive.unknown).toBe(1);
    expect(dive.append(tick(5, 60, SILENT, SILENT))).toBe('taken');
  });

  test('numbers its notes from one', () => {
    const dive = held();
    dive.append(decoded(frame(1, 4, 2, 30, [1, 'coal'])));
    dive.append(decoded(frame(1, 5, 2, 30, [null, 'tea'])));
    expect(dive.notes).toEqual([
      { number: 1, elapsed_s: 30, vehicle: 1, text: 'coal', still: null },
      { number: 2, elapsed_s: 30, vehicle: null, text: 'tea', still: null },
    ]);
  });

  test('keeps a still beside the note that it came with', () => {
    const dive = held();
    const picture = jpeg(64, 48);
    dive.append(decoded(frame(1, 4, 2, 30, [1, 'coal'])));
    expect(dive.append(decoded(frame(1, 5, 5, 30, [0, 'The bell', 64, 48, picture])))).toBe('taken');
    expect(dive.notes[1]).toEqual({ number: 2, elapsed_s: 30, vehicle: 0, text: 'The bell', still: { width: 64, height: 48, jpeg: picture } });
    expect(dive.append(decoded(frame(1, 6, 5, 30, [2, 'whose?', 64, 48, picture])))).toBe('misshapen');
    expect([dive.notes.length, dive.unknown]).toEqual([2, 0]);
  });

  test('holds as many stills as a dive may have, refuses one more, and goes on with words', () => {
    const dive = held();
    const still = (seq: number) => decoded(frame(1, seq, 5, 45, [null, 'again', 1, 1, jpeg(1, 1)]));
    for (let i = 0; i < STILLS; i += 1) expect(dive.append(still(4 + i))).toBe('taken');
    expect(dive.append(still(4 + STILLS))).toBe('full');
    expect(dive.append(decoded(frame(1, 4 + STILLS, 2, 45, [null, 'in words'])))).toBe('taken');
    expect(dive.notes.length).toBe(61);
  });

  test('knows the deepest and the last report up to any tick', () => {
    const dive = heldDive(diveFrames(1, [[report(-2), SILENT], [report(300), report(310)], [report(20), SILENT]]));
    expect([0, 1, 2].map((i) => dive.deepest_m(i))).toEqual([-2, 310, 310]);
    expect(Array.from(dive.tracks[1]?.lastHeard.subarray(0, 3) ?? [])).toEqual([-1, 1, 1]);
    expect(dive.deepest_m(-1)).toBeNaN();
  });

  test('takes half a position for none', () => {
    const dive = heldDive(diveFrames(1, [[report(10, 12.5, null), SILENT]]));
    expect(dive.tracks[0]?.east_m[0]).toBeNaN();
    expect([dive.bounds, dive.tracks[0]?.firstPlaced]).toEqual([null, -1]);
  });

  test('bounds all its tracks', () => {
    const dive = heldDive(diveFrames(1, [[report(1, 25, -50), report(1, -75, 100)], [report(1, 50, 0), SILENT]]));
    expect(dive.bounds).toEqual({ west: -75, east: 50, south: -50, north: 100 });
  });

  test('grows past its first allocation without losing a tick', () => {
    const dive = heldDive(diveFrames(1, Array.from({ length: 1_200 }, (_, i) => [report(i), SILENT])));
    expect(dive.count).toBe(1_200);
    expect([0, 511, 512, 1_199].map((i) => dive.tracks[0]?.depth_m[i])).toEqual([0, 511, 512, 1_199]);
    expect(dive.elapsed_s[1_199]).toBe(15 * 1_199);
  });

  test('holds as many ticks as it may, and refuses one more', () => {
    const header = decoded(frame(1, 0, 0, 0, HEADER));
    if (header.kind !== 'dive') throw new Error('no header');
    const dive = new Dive(1, header.header, 2);
    expect([1, 2, 3].map((seq) => dive.append(tick(seq, 15 * seq, SILENT, SILENT)))).toEqual(['taken', 'taken', 'full']);
  });

  test('tells its subscribers of each record taken, until they leave', () => {
    const dive = held();
    const heard = vi.fn();
    const leave = dive.subscribe(heard);
    dive.append(tick(4, 45, SILENT, SILENT));
    dive.append(tick(4, 45, SILENT, SILENT));
    leave();
    dive.append(tick(5, 60, SILENT, SILENT));
    expect(heard).toHaveBeenCalledTimes(1);
  });
});
