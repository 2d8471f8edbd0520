import { describe, expect, test } from 'vitest';
import { chaptersOf, currentChapter } from '../src/chapters';
import { chapterWords } from '../src/describe';
import { decoded, diveFrames, frame, heldDive, jpeg, report, SILENT } from './frames';

const leg = (name: string | null) => report(10, null, null, name);
const held = (...ticks: Parameters<typeof diveFrames>[1]) => heldDive(diveFrames(1, ticks));

describe('the chapters', () => {
  test('begin where a leg does, one for all vehicles that begin it together', () => {
    const dive = held([leg('deck'), leg('deck')], [leg('descent'), leg('deck')], [leg('descent'), leg('descent')], [leg('bottom'), leg('bottom')]);
    expect(chaptersOf(dive).map((chapter) => [chapter.at_s, chapterWords(chapter)])).toEqual([
      [0, 'Lantern and Moth are on deck'],
      [15, 'Lantern is on the way down'],
      [30, 'Moth is on the way down'],
      [45, 'Lantern and Moth are at work below'],
    ]);
  });

  test('do not begin anew after a silence or a leg not told', () => {
    const dive = held([leg('bottom'), SILENT], [SILENT, SILENT], [leg(null), SILENT], [leg('bottom'), SILENT], [leg('ascent'), SILENT]);
    expect(chaptersOf(dive).map(({ at_s }) => at_s)).toEqual([0, 60]);
  });

  test('are legs, notes and targets in the order of dive time, a leg before what was written at its begin', () => {
    const dive = held([leg('bottom'), SILENT]);
    dive.append(decoded(frame(1, 2, 2, 0, [0, 'Seabed in sight'])));
    dive.append(decoded(frame(1, 3, 4, 15, [0, 'Echo 7', 'rock'])));
    dive.append(decoded(frame(1, 4, 1, 15, [leg('ascent'), SILENT])));
    dive.append(decoded(frame(1, 5, 2, 15, [null, 'Coming up'])));
    expect(chaptersOf(dive).map(chapterWords)).toEqual(['Lantern is at work below', 'Seabed in sight', 'Lantern is on the way up', 'Coming up', 'Target Echo 7: rock']);
    expect(new Set(chaptersOf(dive).map(({ key }) => key)).size).toBe(5);
  });

  test('hold a still with the note that it came with, and no other', () => {
    const dive = held([leg('bottom'), SILENT]);
    dive.append(decoded(frame(1, 2, 2, 0, [0, 'Seabed in sight'])));
    dive.append(decoded(frame(1, 3, 5, 0, [0, 'The bell', 64, 48, jpeg(64, 48)])));
    expect(chaptersOf(dive).map((chapter) => (chapter.is === 'note' ? (chapter.still?.width ?? null) : chapter.is))).toEqual(['leg', null, 64]);
    expect(chaptersOf(dive)[2]).toMatchObject({ number: 2, at_s: 0, text: 'The bell' });
  });

  test('are the same list until something comes', () => {
    const dive = held([leg('deck'), SILENT]);
    const before = chaptersOf(dive);
    expect(chaptersOf(dive)).toBe(before);
    dive.append(decoded(frame(1, 2, 2, 0, [null, 'one'])));
    expect(chaptersOf(dive).length).toBe(2);
  });

  test('have the moment shown in the last that has begun', () => {
    const dive = held([leg(null), SILENT], [leg('descent'), SILENT], [leg('bottom'), SILENT]);
    expect([0, 14.9, 15, 29, 30, 999].map((at_s) => currentChapter(chaptersOf(dive), at_s))).toEqual([-1, -1, 0, 0, 1, 1]);
  });
});
