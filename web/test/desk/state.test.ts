import { describe, expect, test } from 'vitest';
import { Misread } from '../../desk/src/reading';
import { readState, readTracks } from '../../desk/src/state';
import { STATE, TRACKS } from './states';

type Path = readonly (string | number)[];
const isBranch = (value: unknown): value is object => typeof value === 'object' && value !== null;

/** Every place of a value that a reader has to look at, leaves and branches alike. */
function placesOf(value: unknown, path: Path = []): Path[] {
  const below = isBranch(value) ? Object.entries(value).flatMap(([key, one]) => placesOf(one, [...path, Array.isArray(value) ? Number(key) : key])) : [];
  return path.length === 0 ? below : [path, ...below];
}

const spoken = (root: string, path: Path): string => path.reduce<string>((said, key) => said + (typeof key === 'number' ? `[${key}]` : `.${key}`), root);

/** A copy of `value` with one place changed, or left out. */
function changed(value: object, path: Path, to: unknown): unknown {
  // By way of JSON, so that nothing is shared between two places.
  const copy: unknown = JSON.parse(JSON.stringify(value));
  let at = copy as Record<string | number, unknown>;
  for (const key of path.slice(0, -1)) at = at[key] as never;
  const last = path[path.length - 1] as string | number;
  if (to === undefined) delete at[last];
  else at[last] = to;
  return copy;
}

const CASES = [
  ['state', STATE, readState],
  ['tracks', TRACKS, readTracks],
] as const;

describe.each(CASES)('the %s', (root, value, read) => {
  test('is read as it was told, through JSON as it comes', () => {
    expect(read(JSON.parse(JSON.stringify(value)))).toEqual(value);
  });

  test('is refused wherever one place is of a kind it never is, and the place is named', () => {
    const places = placesOf(value);
    expect(places.length).toBeGreaterThan(100);
    const alien = (): null => null;
    for (const path of places) expect(() => read(changed(value, path, alien)), spoken(root, path)).toThrow(`${spoken(root, path)}: `);
  });

  test('is refused wherever an agreed field is missing', () => {
    const named = placesOf(value).filter((path) => typeof path[path.length - 1] === 'string' && !isFree(path));
    for (const path of named) expect(() => read(changed(value, path, undefined)), spoken(root, path)).toThrow(`${spoken(root, path)}: `);
  });
});

/** Names that somebody gave, of reasons, vehicles and audiences, may as well not be there. */
const FREE = /^(?:feeds\.\d+\.rejected\.\w+|exact\.\w+|sees\.\w+(?:\.\w+)?|uplink\.audiences\.\w+)$/;
const isFree = (path: Path): boolean => FREE.test(path.join('.'));

describe('what is read', () => {
  test('may hold more than was agreed, which is passed over', () => {
    expect(readState({ ...STATE, weather: 'calm' })).toEqual(STATE);
  });

  test('may hold null just where something can be unknown', () => {
    const allowed = ['dive.begun_us', 'stopped', 'programme', 'vehicles[0].east_m', 'vehicles[0].tether', 'audiences[0].sees', 'audiences[0].outside', 'audiences[0].next_in_s', 'uplink', 'uplink.up_since_s', 'uplink.limit_bits_per_s', 'uplink.audiences.public.behind_s', 'uplink.audiences.public.followers', 'guests[0].until', 'guests[0].last_day', 'targets[0].latitude_deg'];
    const nullable = placesOf(STATE).filter((path) => ok(() => readState(changed(STATE, path, null)))).map((path) => spoken('', path).slice(1));
    expect(nullable).toEqual(expect.arrayContaining(allowed));
    for (const never of ['now_us', 'queue', 'audiences[0].edge_us', 'audiences[0].held', 'audiences[0].invited', 'uplink.state', 'uplink.outages', 'guests', 'guests[0].revoked', 'cuts[0].from_us', 'zones[0].radius_m']) expect(nullable).not.toContain(never);
  });

  test('holds whole microseconds and finite numbers alone', () => {
    for (const wrong of [1.5, 2 ** 53, '1', Infinity, NaN]) expect(() => readState({ ...STATE, now_us: wrong })).toThrow(Misread);
    for (const wrong of [Infinity, NaN, '60']) expect(() => readTracks({ ...TRACKS, ring_m: wrong })).toThrow('tracks.ring_m: a number was expected');
  });

  test('has pairs of two and points of four', () => {
    expect(() => readTracks({ ...TRACKS, ship: [1, 2, 3] })).toThrow('tracks.ship: a list of 2 was expected, found a list of 3');
    expect(() => readTracks({ ...TRACKS, exact: { Lantern: [[0, 1, 2]] } })).toThrow('tracks.exact.Lantern[0]: a list of 4');
    expect(readTracks({ ...TRACKS, exact: { Lantern: [[0, 1, 2, null]] } }).exact).toEqual({ Lantern: [[0, 1, 2, null]] });
  });

  test('says what was expected and what was found', () => {
    expect(() => readState({ ...STATE, audiences: [{ ...STATE.audiences[0], state: 'asleep' }] })).toThrow(
      'state.audiences[0].state: one of releasing, between dives, held, stopped was expected, found the text "asleep"',
    );
    expect(() => readState(null)).toThrow('state: an object was expected, found null');
    expect(() => readState([])).toThrow('state: an object was expected, found a list of 0');
    expect(() => readState({})).toThrow('state.now_us: a whole number was expected, found nothing');
  });
});

function ok(run: () => unknown): boolean {
  try {
    run();
    return true;
  } catch {
    return false;
  }
}

describe('of the tracks', () => {
  test('a word without a moment is left out; a point without a place stays, since the line has to break there', () => {
    const points = [[1, 0, 0, null], [2, null, null, 12], [3, 4, null, 12], [4, 5, 6, 7]];
    const said = [{ at_us: null, text: 'Long ago.', out: [] }, { at_us: 5, text: 'A bell.', out: ['public'] }];
    const read = readTracks({ ...TRACKS, sees: { public: { Lantern: points } }, annotations: said });
    expect(read.sees).toEqual({ public: { Lantern: points } });
    expect(read.annotations).toEqual([said[1]]);
  });
});
