import { describe, expect, test } from 'vitest';
import { chosenOf, NONE } from '../../desk/src/chosen';
import { beforeNow_s, chosenWords, describePlan, describeRibbon, describeSight, hereWords, markWords, vehicleWords } from '../../desk/src/describe';
import { readState, readTracks, type Audience, type Vehicle } from '../../desk/src/state';
import { NOW_US, STATE, TRACKS } from './states';

const S = 1_000_000;
const state = readState(STATE);
const tracks = readTracks(TRACKS);
const plain = (text: string): string => text.replaceAll('\u00a0', ' ');
const [audience] = state.audiences as [Audience];
const [lantern] = state.vehicles as [Vehicle];

describe('the ribbon in words', () => {
  test('names every audience with its lateness, what is kept back, annotations of that time, and cuts', () => {
    const said = plain(describeRibbon(state, tracks));
    expect(said).toContain('The last 45 min up to now, 149 reports still kept back.');
    expect(said).toContain('public, 45 min late; funders, 5 min late.');
    expect(said).toContain('“A hatch.”, 11 min 40 s ago: out at funders.');
    expect(said).not.toContain('The bow.');
    expect(said).toContain('1 interval was cut.');
  });

  test('says who is held or stopped, and that nobody is there', () => {
    expect(plain(describeRibbon({ ...state, audiences: [{ ...audience, state: 'stopped' }] }, null))).toContain('public, stopped, 45 min late');
    expect(describeRibbon({ ...state, audiences: [] }, null)).toBe('No audience is set up.');
  });
});

describe('what is chosen', () => {
  const chosen = chosenOf({ from_us: NOW_US - 340 * S, to_us: NOW_US - 210 * S });

  test('is told with its ends, what of it is out at whom, and what a cut would do', () => {
    expect(plain(chosenWords(chosen, state))).toBe(
      'Chosen: 2 min 10 s, from 5 min 40 s ago to 3 min 30 s ago. public: none of it is out; funders: the first 40 s is out. ' +
        'A cut takes away for good what isn’t out yet.',
    );
  });

  test('that is out everywhere is told to be so', () => {
    const early = { ...state, audiences: state.audiences.map((one) => ({ ...one, edge_us: NOW_US })) };
    expect(chosenWords(chosen, early)).toContain('All of it is out everywhere');
    expect(chosenWords(NONE, early)).toContain('there is nothing to cut');
    expect(chosenWords(NONE, state)).toContain('to choose what to cut');
  });

  test('is spoken by the slider with the end in hand, or where its mark is', () => {
    expect(plain(markWords(chosen, state))).toMatch(/^In hand: its end\. Chosen: 2 min 10 s/);
    expect(markWords({ mark_us: chosen.stays_us, stays_us: chosen.mark_us }, state)).toMatch(/^In hand: its beginning\./);
    expect(plain(markWords({ mark_us: NOW_US - 95 * S, stays_us: null }, state))).toBe('Mark at 1 min 35 s ago, nothing chosen.');
    expect(markWords(NONE, state)).toBe('Mark at now, nothing chosen.');
  });

  test('is counted in seconds before now, never as minus nothing', () => {
    expect([NOW_US, NOW_US - 65 * S, NOW_US - 1].map((at_us) => beforeNow_s(at_us, NOW_US))).toEqual([0, -65, 0]);
    expect(Object.is(beforeNow_s(NOW_US, NOW_US), -0)).toBe(false);
  });
});

describe('the exact plan in words', () => {
  test('says where each vehicle is, how deep, where it points, and whether that holds', () => {
    expect(plain(vehicleWords(lantern))).toBe('Lantern: 43 m east, 18 m south, depth 1,032 m, heading 211°.');
    expect(plain(vehicleWords({ ...lantern, in_doubt: true, heard_ago_s: 42 }))).toContain(', in doubt, silent for 42 s.');
    expect(vehicleWords({ ...lantern, east_m: null })).toBe('Lantern: place unknown.');
  });

  test('names the ship, targets with their verdicts, and zones with what they do', () => {
    const said = plain(describePlan(state, tracks));
    expect(said).toContain('north up');
    expect(said).toContain('Harrow Tern: 5 m east, 12 m north.');
    expect(said).toMatch(/Targets: T1, of interest: 65 m east, 144 m south\./);
    expect(said).toMatch(/Finds: the bell: 65 m east, 144 m south\./);
    expect(said).toContain('Zones: stern, place withheld.');
    expect(describePlan({ ...state, vehicles: [], zones: [] }, null)).toContain('No fix yet.');
  });

  test('says what lies under the pointer, and the way there from the nearest vehicle', () => {
    expect(plain(hereWords([90, -60], 5, state, tracks))).toMatch(/^Here: 90 m east, 60 m south; stern, place withheld; 63 m from Lantern, direction 131°\.$/);
    expect(plain(hereWords([65, -144], 5, state, tracks))).toContain('T1, of interest');
    expect(hereWords([65, -134], 5, state, tracks)).not.toContain('T1');
  });
});

describe('what an audience sees in words', () => {
  test('says how late it is, that the frame has no place nor north, and what is shown of each vehicle', () => {
    expect(plain(describeSight(audience, '50 m'))).toBe('What public sees, 45 min late; a frame without place or north. Lantern is shown on the plan, depth 1,030 m. Grid 50 m, no north.');
  });

  test('says what isn’t shown', () => {
    const [seen] = audience.sees?.vehicles ?? [];
    const unplaced = { ...audience, sees: audience.sees && { ...audience.sees, vehicles: seen ? [{ ...seen, east_m: null, north_m: null, depth_m: null, heard: false }] : [] } };
    expect(describeSight(unplaced, '')).toContain('Lantern is shown without a place, silent.');
    expect(describeSight({ ...audience, sees: null }, '')).toContain('nothing to see yet.');
    expect(describeSight({ ...audience, state: 'held' }, '')).toContain('held');
  });

  test('never names a direction or a place of its own: metres of a secret frame mean nothing', () => {
    for (const word of ['east', 'west', 'south', '25', '50 m north']) expect(describeSight(audience, '')).not.toContain(word);
  });
});
