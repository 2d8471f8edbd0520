import { describe, expect, test } from 'vitest';
import * as say from '../src/describe';
import { follow, seek, START } from '../src/playhead';
import type { Connection, State } from '../src/state';
import type { Dive } from '../src/store';
import { decoded, diveFrames, frame, HEADER, heldDive, report, SILENT } from './frames';

const plain = (text: string): string => text.replaceAll('\u00a0', ' ');

function stateOf(dive: Dive | null, change: Partial<State> = {}): State {
  const playhead = dive ? follow(START, dive.end_s) : START;
  return {
    expedition: 'The search', dives: [], listed: true, wanted: dive?.dive ?? null, dive, live: dive !== null, playhead,
    at: dive ? dive.count - 1 : -1, connection: { is: 'connected' }, integrity: null, remark: null, followers: null, programme: null,
    proof: null, outOfTurn: 0, invitation: null, programmeAltered: false, ...change,
  };
}

const dived = (ticks: Parameters<typeof diveFrames>[1], header: object = HEADER) => heldDive(diveFrames(1, ticks, header));
const two = () => dived([[report(1_140, 0, 0, 'bottom', 'on the bottom'), report(1_130, 0, 0)], [report(1_140, 25, -50, 'bottom', 'on the bottom'), report(1_130, 0, 0)]]);
const over = () => {
  const dive = two();
  dive.append(decoded(frame(1, 3, 3, 4_320, null)));
  return dive;
};
const title = (dive: Dive) => say.headline(stateOf(dive)).title;

describe('the honest line', () => {
  const line = (header: object, change: Partial<State> = {}) => {
    const { late, place } = say.honestLine(stateOf(dived([[report(0), SILENT]], { ...HEADER, ...header }), change));
    return `${late} ${place}`;
  };

  test('says how late and how coarse', () => {
    expect(line({})).toBe('You see this 45 to 55 minutes late. Positions are coarse and without a place, on purpose.');
    expect(line({ delay_s: [20, 25] })).toMatch(/^You see this 20 to 25 seconds late\./);
  });

  test('says that it is later than that while nothing newer comes', () => {
    const words = 'You see this more than 55 minutes late: nothing newer has come.';
    for (const connection of [{ is: 'delayed', silent_s: 60 }, { is: 'disconnected', retry_s: 8 }, { is: 'full', retry_s: 8 }] as const) {
      expect(line({}, { connection })).toContain(words);
      expect(line({ delay_s: [0, 0] }, { connection })).toContain('Nothing newer has come for a while.');
      expect(line({}, { connection, live: false })).toMatch(/^A recording/);
    }
    expect(line({}, { connection: { is: 'connecting' } })).toMatch(/^You see this 45 to 55 minutes late\./);
  });

  test('says that a recording is one', () => {
    expect(line({}, { live: false })).toMatch(/^A recording, shown 45 to 55 minutes late\./);
    expect(say.honestLine(stateOf(over())).late).toMatch(/^A recording/);
    const dive = two();
    expect(say.honestLine(stateOf(dive, { playhead: seek(follow(START, dive.end_s), 0, dive.end_s) })).late).toMatch(/^A recording/);
  });

  test('says what is told of the place, and no more', () => {
    expect(line({ place: 'area', area: 'South Atlantic' })).toContain('only this is told, on purpose: South Atlantic.');
    expect(line({ fields: ['depth'] })).toContain('Positions are not told, on purpose.');
    expect(line({ place: 'exact' })).toContain('Positions are given as they were measured.');
  });

  test('is there before any dive', () => {
    const { late, place } = say.honestLine(stateOf(null));
    expect(`${late} ${place}`).toBe('What you see here comes late, coarse and without a place, on purpose.');
  });
});

describe('the headline', () => {
  test('before any dive is friendly, and while nothing is known yet says so', () => {
    expect(say.headline(stateOf(null)).title).toBe('No dive yet');
    expect(say.headline(stateOf(null, { listed: false })).title).toBe('Reading the dive');
    expect(say.headline(stateOf(null, { listed: false, connection: { is: 'disconnected', retry_s: 8 } })).title).toBe('The relay cannot be reached');
    expect(say.headline(stateOf(null, { wanted: 1, integrity: 'damaged' })).title).toBe('This recording is damaged');
    expect(say.headline(stateOf(null, { wanted: 1, integrity: 'unreachable' })).title).toBe('The relay cannot be reached');
  });

  test('names who does what, together where they do the same', () => {
    const both = (leg: string) => title(dived([[report(10, null, null, leg, null), report(10, null, null, leg, null)]]));
    expect(['deck', 'descent', 'bottom', 'ascent'].map(both)).toEqual([
      'Lantern and Moth are on deck', 'Lantern and Moth are on the way down', 'Lantern and Moth are at work below', 'Lantern and Moth are on the way up',
    ]);
    expect(title(two())).toBe('Lantern is on the bottom');
  });

  test('speaks of whoever reports', () => {
    expect(title(dived([[SILENT, report(10, null, null, 'descent', null)]]))).toBe('Moth is on the way down');
    expect(title(dived([[SILENT, SILENT]]))).toBe('No report from Lantern and Moth');
  });

  test('says how far into the dive, and at its end how long and how deep it was', () => {
    const dive = two();
    expect(plain(say.headline(stateOf(dive)).more)).toBe('15 s into the dive');
    const head = say.headline(stateOf(over()));
    expect([head.title, plain(head.more)]).toEqual(['The dive is over', 'It lasted 1 h 12 min and went about 1,140 m deep.']);
  });

  test('of a dive without a report yet says that it is beginning', () => {
    expect(title(dived([]))).toBe('A dive is beginning');
  });

  test('of a moment within a dive that is over is that of the moment', () => {
    const dive = over();
    expect(say.headline(stateOf(dive, { playhead: seek(START, 15, dive.end_s) })).title).toBe('Lantern is on the bottom');
  });
});

describe('a vehicle', () => {
  const lines = (dive: Dive, vehicle: number, at: number) => say.vehicleWords(dive, vehicle, at).lines.map((line) => plain(line.join(' ')));

  test('is told about, never exactly', () => {
    expect(lines(two(), 0, 1)).toEqual(['depth about 1,140 m', 'heading 135° on the plan', 'at work below 30 s', 'mode on its tether']);
    expect(say.vehicleWords(two(), 0, 1).where).toBe('on the bottom');
    expect(say.vehicleWords(two(), 1, 1).where).toBe('near the bottom');
  });

  test('without a report is said to be silent, for how long, and last how deep', () => {
    const dive = dived([[report(500), SILENT], ...Array.from({ length: 4 }, () => [SILENT, SILENT])]);
    const told = say.vehicleWords(dive, 0, 4);
    expect([plain(told.where), told.heard]).toEqual(['no report for 1 min', false]);
    expect(lines(dive, 0, 4)).toEqual(['last depth about 500 m', 'at work below 15 s']);
    expect(say.vehicleWords(dive, 1, 4).where).toBe('no report yet');
  });

  test('of which nothing but its reporting is told gets no line', () => {
    const dive = dived([[['reporting', ...Array(9).fill(null)], SILENT]]);
    expect(say.vehicleWords(dive, 0, 0)).toEqual({ name: 'Lantern', where: 'under way', heard: true, lines: [] });
  });

  test('tells its pace over the last minutes, from its second sampled position on', () => {
    const ticks = Array.from({ length: 30 }, (_, i) => [report(10, Math.floor(i / 5) * 25, 0), report(10, 0, 0)]);
    const dive = dived(ticks);
    expect(lines(dive, 0, 3).some((line) => line.startsWith('pace'))).toBe(false);
    expect(lines(dive, 0, 4)).toContain('pace hardly moving for 1 min');
    expect(lines(dive, 0, 29)).toContain('pace about 0.3 m/s over 5 min');
    expect(lines(dive, 1, 29)).toContain('pace hardly moving for 5 min');
  });

  test('whose depth is told from where it reached the bottom is told so', () => {
    const dive = dived([[report(0), report(30)], [report(-20), SILENT]], { ...HEADER, depth: 'relative' });
    expect(lines(dive, 0, 0)[0]).toBe('depth as where the bottom was reached');
    expect(lines(dive, 1, 0)[0]).toBe('depth about 30 m below where the bottom was reached');
    expect(lines(dive, 0, 1)[0]).toBe('depth about 20 m above where the bottom was reached');
    dive.append(decoded(frame(1, 3, 3, 4_320, null)));
    expect(plain(say.headline(stateOf(dive)).more)).toBe('It lasted 1 h 12 min.');
  });

  test('of a dive that is over is summed up from what was released', () => {
    const ticks = Array.from({ length: 9 }, (_, i) => [report(100 + i, i * 25, 0, i < 5 ? 'bottom' : 'ascent'), SILENT]);
    const told = say.vehicleSummary(dived(ticks), 0).lines.map((line) => plain(line.join(' ')));
    expect(told).toEqual(['deepest about 108 m', 'at work below 1 min', 'way on the plan about 200 m']);
    expect(say.vehicleSummary(dived(ticks), 1).lines).toEqual([]);
  });
});

describe('the latest note', () => {
  const noted = () => {
    const dive = dived([[report(0), SILENT], ...Array.from({ length: 10 }, () => [report(5), SILENT])]);
    dive.append(decoded(frame(1, 12, 2, 15, [0, 'Coal on the seabed'])));
    dive.append(decoded(frame(1, 13, 2, 150, [null, 'Change of watch'])));
    return dive;
  };
  const at = (at_s: number) => {
    const dive = noted();
    const note = say.latestNote(stateOf(dive, { playhead: seek(START, at_s, dive.end_s) }));
    return note && plain(`${note.text} (${note.by})`);
  };

  test('is the last up to the moment shown, with whose it is and how long before', () => {
    expect([0, 15, 74, 149, 150].map(at)).toEqual([
      null, 'Coal on the seabed (written on board about Lantern, just then)', 'Coal on the seabed (written on board about Lantern, just then)', 'Coal on the seabed (written on board about Lantern, 2 min earlier)', 'Change of watch (written on board, just then)',
    ]);
  });

  test('steps back once the dive is over', () => {
    const dive = noted();
    dive.append(decoded(frame(1, 14, 3, 165, null)));
    expect(say.latestNote(stateOf(dive))).toBeNull();
  });
});

describe('the connection', () => {
  const words = (connection: Connection, change: Partial<State> = {}) => {
    const { word, more } = say.connectionWords(stateOf(two(), { connection, ...change }));
    return plain(more === '' ? word : `${word}: ${more}`);
  };

  test('is a word for every state', () => {
    expect(words({ is: 'connecting' })).toBe('connecting');
    expect(words({ is: 'connected' })).toBe('connected');
    expect(words({ is: 'delayed', silent_s: 50.4 })).toBe('delayed: nothing new for 50 s');
    expect(words({ is: 'disconnected', retry_s: 7.2 })).toBe('disconnected: trying again in 8 s');
    expect(words({ is: 'disconnected', retry_s: 0 })).toBe('disconnected: trying again');
    expect(words({ is: 'full', retry_s: 30 })).toBe('full: trying again in 30 s');
    expect(words({ is: 'refused' })).toMatch(/^refused: /);
    expect(words({ is: 'outdated' })).toMatch(/^out of date: /);
    expect(words({ is: 'recordings only' })).toBe('recordings only');
  });

  test('is "replay" for a moment that is not live, unless the connection is lost', () => {
    const back = { playhead: seek(START, 0, 15) };
    expect(words({ is: 'connected' }, back)).toBe('replay: the dive is going on');
    expect(words({ is: 'connected' }, { live: false })).toBe('replay');
    const other = { dive: 2, closed: false, records: 1, recording: 'x' };
    expect(words({ is: 'connected' }, { live: false, dives: [other] })).toBe('replay: another dive is going on');
    expect(words({ is: 'disconnected', retry_s: 8 }, back)).toMatch(/^disconnected/);
  });
});

describe('the drawings', () => {
  test('say where each vehicle is on the plan, and that up is not north', () => {
    const label = plain(say.planLabel(stateOf(two()), 0.5, 44));
    expect(label).toBe(
      'Plan of the track on a grid of 100 m; up is not north. Lantern is 25 m to the right and 50 m below of where its track begins. Moth is where its track begins.',
    );
  });

  test('say why there is no track', () => {
    const without = (header: object, ticks: Parameters<typeof diveFrames>[1] = [[report(10), SILENT]]) => say.trackMissing(dived(ticks, { ...HEADER, ...header }), 0);
    expect(without({})).toBe('No track is shown on this leg of the dive.');
    expect(without({ fields: ['depth'] })).toBe('The track is not told.');
    expect(without({ fields: ['depth'], area: 'South Atlantic', place: 'area' })).toBe('Only the area is told: South Atlantic.');
    expect(without({}, [[report(10, 0, 0), SILENT]])).toBeNull();
  });

  test('say the depth of each vehicle and the deepest', () => {
    expect(plain(say.columnLabel(stateOf(two())))).toBe(
      'Water column. Lantern: about 1,140 m, on the bottom. Moth: about 1,130 m, near the bottom. Deepest so far in this dive: about 1,140 m.',
    );
    expect(say.columnLabel(stateOf(dived([[SILENT, SILENT]])))).toBe('Water column. Depth is not told.');
    expect(plain(say.depthLabel(stateOf(two())))).toBe('Depth over the time of the dive, from the start to 15 s. Deepest: about 1,140 m.');
  });

  test('give the ribbon a spoken value', () => {
    expect(plain(say.ribbonValue(stateOf(two())))).toBe('15 s into the dive. Lantern is on the bottom.');
    expect(plain(say.ribbonValue(stateOf(over())))).toBe('1 h 12 min into the dive. The dive is over.');
  });
});

describe('what is said aloud', () => {
  test('does not change while only time and connection details do', () => {
    const dive = dived([[report(100, 0, 0), SILENT], [report(100, 25, 0), SILENT]]);
    const early = say.announcement(stateOf(dive, { at: 0, playhead: follow(START, 0) }));
    expect(say.announcement(stateOf(dive))).toBe(early);
    expect(say.announcement(stateOf(dive, { connection: { is: 'disconnected', retry_s: 8 } }))).toBe(
      say.announcement(stateOf(dive, { connection: { is: 'disconnected', retry_s: 7 } })),
    );
  });

  test('is nothing while nothing is known', () => {
    expect(say.announcement(stateOf(null, { listed: false, connection: { is: 'connecting' } }))).toBe('');
  });

  test('tells a new note', () => {
    const dive = two();
    dive.append(decoded(frame(1, 3, 2, 15, [0, 'Coal on the seabed'])));
    expect(say.announcement(stateOf(dive))).toContain('New note: Coal on the seabed');
  });
});

test('the title of the tab begins with what is going on', () => {
  expect(say.pageTitle(stateOf(two()))).toBe('Lantern is on the bottom · Dive 1 · The search');
  expect(say.pageTitle(stateOf(null))).toBe('The search');
});

describe('what was done so far', () => {
  const sums = (dive: Dive, at_s: number) => say.diveSums(stateOf(dive, { playhead: seek(START, at_s, dive.end_s) })).map((line) => plain(line.join(' ')));

  test('is the ground covered, and the targets by their last verdict up to the moment shown', () => {
    const ticks = Array.from({ length: 9 }, (_, i) => [report(10, 25 * i, 0), SILENT]);
    const dive = dived(ticks, { ...HEADER, swath_m: 50 });
    dive.append(decoded(frame(1, 10, 4, 120, [0, 'Echo 7', 'unchecked'])));
    dive.append(decoded(frame(1, 11, 4, 130, [0, 'Echo 8', 'rock'])));
    dive.append(decoded(frame(1, 12, 4, 140, [0, 'Echo 7', 'of interest'])));
    expect([sums(dive, 110), sums(dive, 130), sums(dive, 140)]).toEqual([
      ['ground covered about 10,000 m\u00b2'],
      ['ground covered about 10,000 m\u00b2', 'targets checked 1 of 2'],
      ['ground covered about 10,000 m\u00b2', 'targets checked 2 of 2'],
    ]);
    expect(say.latestTargets(dive, 140).map(({ name, verdict }) => [name, verdict])).toEqual([['Echo 7', 'of interest'], ['Echo 8', 'rock']]);
  });

  test('is nothing where nothing is told', () => {
    expect(sums(two(), 0)).toEqual([]);
  });
});

describe('a link', () => {
  test('that leads nowhere is said to', () => {
    expect(say.remarkWords(stateOf(null, { remark: { is: 'no such dive', dive: 7 } }))).toContain('dive 7, which is not here');
    expect(say.remarkWords(stateOf(null, { remark: { is: 'not yet', at_s: 4_800 } }))).toContain('1:20:00 into the dive, which has not been released yet');
    expect(say.remarkWords(stateOf(null))).toBe('');
  });

  test('to an audience that is not here says so in the largest words', () => {
    const state = stateOf(null, { listed: false, connection: { is: 'no such audience' } });
    expect([say.headline(state).title, say.connectionWords(state).word]).toEqual(['There is no such page', 'not found']);
  });
});
