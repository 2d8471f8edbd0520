import { describe, expect, test } from 'vitest';
import * as forms from '../../desk/src/forms';
import { numeral, place, seconds } from '../../desk/src/quantities';

const decided = (made: forms.Made): unknown => ('decision' in made ? made.decision : made);

describe('a time', () => {
  test.each([
    ['12', 720], ['1.5', 90], ['0,5', 30], ['12 min', 720], ['90 s', 90], ['90s', 90], ['2 h', 7_200], ['1 h 30 min', 5_400], ['1h30m', 5_400], [' 45 MIN ', 2_700], ['0', 0],
  ])('%s is read', (text, expected) => expect(seconds(text)).toBeCloseTo(expected));
  test.each(['', 'soon', '12 days', 'min', '-5', '1 h and more', '12:30'])('%s is none', (text) => expect(seconds(text)).toBeNull());
});

describe('a number', () => {
  test.each([['12', 12], ['-3.5', -3.5], ['\u22123,5', -3.5], [' +7 ', 7]])('%s is read', (text, expected) => expect(numeral(text)).toBe(expected));
  test.each(['', '1e3', '1,2,3', 'NaN', '12 m'])('%s is none', (text) => expect(numeral(text)).toBeNull());
});

describe('a place', () => {
  test.each([
    ['61.5083, 3.2040', 61.5083, 3.204],
    ['-12.5, 71.25', -12.5, 71.25],
    ['61 30.5 N, 3 12.24 E', 61.508333, 3.204],
    ['61° 30.5′ N; 3° 12.24′ W', 61.508333, -3.204],
    ['12.5 S, 71.25 E', -12.5, 71.25],
    ['90, 180', 90, 180],
  ])('%s is read', (text, latitude, longitude) => {
    const found = place(text);
    expect(found?.[0]).toBeCloseTo(latitude, 5);
    expect(found?.[1]).toBeCloseTo(longitude, 5);
  });
  test.each(['', '61.5', '91, 0', '0, 181', '61 60 N, 3 0 E', '61 N, 3 N', '3 E, 61 N', '-61 N, 3 E', '1, 2, 3', 'here, there'])('%s is none', (text) =>
    expect(place(text)).toBeNull());
});

describe('what is said', () => {
  test('goes to those ticked, waits if asked to, and needs words', () => {
    expect(decided(forms.say({ text: ' A bell. ', vehicle: '' }, null, false))).toEqual({ do: 'say', text: 'A bell.', vehicle: null, audiences: [] });
    expect(decided(forms.say({ text: 'A bell.', vehicle: 'Moth' }, ['public'], true))).toEqual({ do: 'say', text: 'A bell.', vehicle: 'Moth', audiences: ['public'], wait: true });
    expect(forms.say({ text: '  ' }, null, false)).toEqual({ fault: 'needed', field: 'text' });
  });

  test('to nobody is never sent: to the ship an empty list means everybody', () => {
    expect(forms.say({ text: 'A bell.' }, [], false)).toEqual({ fault: 'nobody', field: 'text' });
  });
});

describe('a target', () => {
  const basis = { name: 'T1', verdict: 'rock', vehicle: 'Lantern' };
  const sigmas = { bearing_sigma_deg: '2', range_sigma_m: '1', heading_sigma_deg: '2', place_sigma_m: '5' };
  const known = { bearing_sigma_deg: 2, range_sigma_m: 1, heading_sigma_deg: 2, place_sigma_m: 5 };

  test('without a bearing is a name and a verdict, whatever stands beside', () => {
    expect(decided(forms.target({ ...basis, ...sigmas, range_is: 'slant' }))).toEqual({ do: 'target', ...basis });
  });

  test('with one is a sighting, whose depression comes with how well it is known', () => {
    const seen = { ...basis, ...sigmas, bearing_deg: '-20', range_m: '35,5', range_is: 'horizontal' };
    const sighting = { bearing_deg: -20, range_m: 35.5, range_is: 'horizontal', ...known };
    expect(decided(forms.target(seen))).toEqual({ do: 'target', ...basis, sighting });
    const deeper = { ...seen, depression_deg: '12', depression_sigma_deg: '3' };
    expect(decided(forms.target(deeper))).toEqual({ do: 'target', ...basis, sighting: { ...sighting, depression_deg: 12, depression_sigma_deg: 3 } });
  });

  test('names the field that lacks', () => {
    const seen = { ...basis, ...sigmas, bearing_deg: '10', range_m: '30', range_is: 'slant' };
    const lacking = (change: object): unknown => forms.target({ ...seen, ...change });
    expect(lacking({ name: '' })).toEqual({ fault: 'needed', field: 'name' });
    expect(lacking({ range_m: '' })).toEqual({ fault: 'needed', field: 'range_m' });
    expect(lacking({ vehicle: '' })).toEqual({ fault: 'needed', field: 'vehicle' });
    expect(lacking({ bearing_deg: 'left' })).toEqual({ fault: 'numeral', field: 'bearing_deg' });
    expect(lacking({ depression_deg: '9', depression_sigma_deg: '' })).toEqual({ fault: 'needed', field: 'depression_sigma_deg' });
  });
});

describe('a find', () => {
  const known = [{ name: 'the bell', row: 809 }];
  const bell = { supersedes: '', name: ' the bell ', what: 'ship’s bell' };

  test('as found has a name and says what it is; what else is known goes with it', () => {
    expect(decided(forms.find(bell, []))).toEqual({ do: 'find', name: 'the bell', what: 'ship’s bell' });
    const all = { ...bell, place: '12 30.078 S, 71 15 E', radius_95_m: '4,5', depth_m: '1030.5', vehicle: 'Lantern', description: 'Upright.\nIn silt.' };
    expect(decided(forms.find(all, []))).toEqual({
      do: 'find', name: 'the bell', what: 'ship’s bell', description: 'Upright.\nIn silt.', vehicle: 'Lantern', depth_m: 1030.5,
      place: { latitude_deg: expect.closeTo(-12.5013, 9), longitude_deg: 71.25, radius_95_m: 4.5 },
    });
    expect(decided(forms.find({ ...bell, target: 'T1' }, []))).toEqual({ do: 'find', name: 'the bell', what: 'ship’s bell', target: 'T1' });
  });

  test('recorded anew supersedes the row it was chosen by, and adds to its files; what is empty is left as it was', () => {
    expect(decided(forms.find({ ...bell, name: '', what: '', supersedes: '809', depth_m: '1031' }, known))).toEqual({ do: 'find', name: 'the bell', supersedes: 809, adds: true, depth_m: 1031 });
  });

  test('whose record isn’t what is known any more is none that can be superseded', () => {
    expect(forms.find({ ...bell, name: '', supersedes: '701' }, known)).toEqual({ fault: 'needed', field: 'name' });
  });

  test('names the field that lacks, or contradicts another', () => {
    const lacking = (change: object): unknown => forms.find({ ...bell, ...change }, known);
    expect(lacking({ name: ' ' })).toEqual({ fault: 'needed', field: 'name' });
    expect(lacking({ what: '' })).toEqual({ fault: 'needed', field: 'what' });
    expect(lacking({ place: 'here' })).toEqual({ fault: 'place', field: 'place' });
    expect(lacking({ place: '1, 2', target: 'T1' })).toEqual({ fault: 'either', field: 'place' });
    expect(lacking({ radius_95_m: '4' })).toEqual({ fault: 'needed', field: 'place' });
    expect(lacking({ place: '1, 2', radius_95_m: 'small' })).toEqual({ fault: 'numeral', field: 'radius_95_m' });
    expect(lacking({ depth_m: 'deep' })).toEqual({ fault: 'numeral', field: 'depth_m' });
  });
});

describe('the other decisions', () => {
  test('are what their fields say', () => {
    expect(decided(forms.leg('Moth', ''))).toEqual({ do: 'leg', vehicle: 'Moth', leg: null });
    expect(decided(forms.leg('Moth', 'bottom'))).toEqual({ do: 'leg', vehicle: 'Moth', leg: 'bottom' });
    const zone = { name: 'stern', centre: '61.5, 3.2', radius_m: '100', margin_m: '50', action: 'freeze' };
    expect(decided(forms.zone(zone))).toEqual({ do: 'zone', name: 'stern', centre: [61.5, 3.2], radius_m: 100, margin_m: 50, action: 'freeze' });
    expect(forms.zone({ ...zone, centre: 'there' })).toEqual({ fault: 'place', field: 'centre' });
    const out = { vehicle: 'Moth', return_in_s: '2 h', return_grace_s: '15', report_every_s: '', report_grace_s: '' };
    expect(decided(forms.expect(out))).toEqual({ do: 'expect', vehicle: 'Moth', return_in_s: 7_200, return_grace_s: 900 });
    expect(decided(forms.expect({ ...out, report_every_s: '30 s', report_grace_s: '1' }))).toMatchObject({ report_every_s: 30, report_grace_s: 60 });
    expect(forms.expect({ ...out, return_in_s: 'soon' })).toEqual({ fault: 'duration', field: 'return_in_s' });
  });

  test('of time are whole microseconds of the ship’s clock, never before its record begins', () => {
    const now_us = 600_123_457;
    expect(decided(forms.cutLast({ last: '5' }, now_us))).toEqual({ do: 'cut', from_us: now_us - 300_000_000, to_us: now_us });
    expect(decided(forms.cutLast({ last: '3 h' }, now_us))).toEqual({ do: 'cut', from_us: 0, to_us: now_us });
    expect(decided(forms.early({ audience: 'public', since: '0.123 min' }, now_us))).toEqual({ do: 'early', audience: 'public', upto_us: now_us - 7_380_000 });
    expect(forms.early({ audience: '', since: '5' }, now_us)).toEqual({ fault: 'needed', field: 'audience' });
    expect(forms.cutLast({ last: '' }, now_us)).toEqual({ fault: 'needed', field: 'last' });
  });

  test('put up a programme of at most twelve lines, or take it down', () => {
    const empty = { pinned: '', schedule: '', next_dive_in_s: '' };
    expect(decided(forms.programme(empty))).toEqual({ do: 'programme', pinned: null, schedule: [], next_dive_in_s: null });
    const full = { pinned: 'Back soon.', schedule: 'Dive 4\n\n  Dive 5 ', next_dive_in_s: '3 h' };
    expect(decided(forms.programme(full))).toEqual({ do: 'programme', pinned: 'Back soon.', schedule: ['Dive 4', 'Dive 5'], next_dive_in_s: 10_800 });
    const lines = (count: number): forms.Made => forms.programme({ ...empty, schedule: Array.from({ length: count }, (_, i) => `Dive ${i}`).join('\n') });
    expect('decision' in lines(forms.MOST_LINES)).toBe(true);
    expect(lines(forms.MOST_LINES + 1)).toEqual({ fault: 'lines', field: 'schedule' });
  });
});
