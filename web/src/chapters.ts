/**
 * The chapters of a dive: where legs begin, what was noted, what targets turned out to be.
 *
 * Rules: pure; made of released records alone (R7), in the order of dive time; a leg comes before what was written at
 * its begin, and vehicles that begin the same leg at the same tick share a chapter.
 */

import type { Leg, Still, Verdict } from './decode';
import type { Dive } from './store';

export type Chapter = { readonly at_s: number; readonly key: string } & (
  | { readonly is: 'leg'; readonly leg: Leg; readonly vehicles: readonly string[] }
  | { readonly is: 'note'; readonly number: number; readonly vehicle: string | null; readonly text: string; readonly still: Still | null }
  | { readonly is: 'target'; readonly name: string; readonly vehicle: string | null; readonly verdict: Verdict | null }
);

const known = new WeakMap<Dive, { readonly seq: number; readonly chapters: readonly Chapter[] }>();

/** Return the chapters of what is held of a dive; the same list while nothing came. */
export function chaptersOf(dive: Dive): readonly Chapter[] {
  const before = known.get(dive);
  if (before?.seq === dive.seq) return before.chapters;
  const chapters = [...legs(dive), ...notes(dive), ...targets(dive)].sort((one, other) => one.at_s - other.at_s);
  known.set(dive, { seq: dive.seq, chapters });
  return chapters;
}

function legs(dive: Dive): Chapter[] {
  const found = new Map<string, { at_s: number; key: string; is: 'leg'; leg: Leg; vehicles: string[] }>();
  for (const track of dive.tracks) {
    for (const { tick, leg } of track.turns) {
      const key = `leg ${tick} ${leg}`;
      const shared = found.get(key);
      if (shared) shared.vehicles.push(track.name);
      else found.set(key, { at_s: dive.elapsed_s[tick] as number, key, is: 'leg', leg, vehicles: [track.name] });
    }
  }
  return [...found.values()];
}

function notes(dive: Dive): Chapter[] {
  return dive.notes.map(({ elapsed_s, number, vehicle, text, still }) => ({
    at_s: elapsed_s, key: `note ${number}`, is: 'note', number, vehicle: nameOf(dive, vehicle), text, still,
  }));
}

function targets(dive: Dive): Chapter[] {
  return dive.targets.map(({ elapsed_s, name, vehicle, verdict }, i) => ({
    at_s: elapsed_s, key: `target ${i}`, is: 'target', name, vehicle: nameOf(dive, vehicle), verdict,
  }));
}

function nameOf(dive: Dive, vehicle: number | null): string | null {
  return vehicle === null ? null : (dive.tracks[vehicle]?.name ?? null);
}

/** Return the index of the chapter that `at_s` is in: the last that has begun; -1 before the first. */
export function currentChapter(chapters: readonly Chapter[], at_s: number): number {
  return chapters.findLastIndex((chapter) => chapter.at_s <= at_s);
}
