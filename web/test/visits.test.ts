import { describe, expect, it } from 'vitest';
import type { Dive, Track } from '../src/store';
import { visitsOf } from '../src/visits';
import { diveFrames, HEADER, heldDive, report } from './frames';

function trackOf(places: readonly (readonly [number, number] | null)[]): { track: Track; dive: Dive } {
  const dive = heldDive(diveFrames(1, places.map((place) => [report(900, place?.[0] ?? null, place?.[1] ?? null)]), { ...HEADER, vehicles: ['Lantern'] }));
  return { track: dive.tracks[0] as Track, dive };
}
const WAY = [null, [0, 0], [0, 0], [10, 0], [0, 0], null, [0, 0], [10, 10]] as const;

describe('visits', () => {
  it('tells where the position changes, and which squares are new there', () => {
    const { track, dive } = trackOf(WAY);
    expect(visitsOf(track, dive.count)).toMatchObject({ turns: [0, 1, 3, 4, 5, 6, 7], firsts: [1, 3, 7] });
  });
  it('comes to the same in any steps, and forgets nothing when it goes back', () => {
    const { track, dive } = trackOf(WAY);
    for (const count of [1, 3, 3, 6, 2, dive.count]) visitsOf(track, count);
    expect(visitsOf(track, 1)).toMatchObject({ turns: [0, 1, 3, 4, 5, 6, 7], firsts: [1, 3, 7] });
  });

  it('tells the metres run since positions were last told anew', () => {
    const { track, dive } = trackOf(WAY);
    expect(visitsOf(track, 3).run_m).toEqual([NaN, 0]);
    expect(visitsOf(track, dive.count).run_m).toEqual([NaN, 0, 10, 20, NaN, 0, Math.hypot(10, 10)]);
  });
});
