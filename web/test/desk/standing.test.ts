import { expect, test } from 'vitest';
import { howSeen } from '../../desk/src/panels/side';
import { aroundDays, isTroubled, sentence, SILENT_S } from '../../desk/src/panels/standing';

test('a feed that was never heard, or not for two minutes, is not said to be well', () => {
  expect(isTroubled({ station: null, heard_ago_s: null })).toBe(true);
  expect(isTroubled({ station: null, heard_ago_s: SILENT_S + 0.1 })).toBe(true);
  expect(isTroubled({ station: null, heard_ago_s: SILENT_S })).toBe(false);
});

test('of two stations each is well or not by the word of the ship', () => {
  const station = { role: 'standby', counting: false, healthy: false } as const;
  expect(isTroubled({ station, heard_ago_s: 0 })).toBe(true);
  expect(isTroubled({ station: { ...station, healthy: true }, heard_ago_s: 0 })).toBe(false);
});

test('what the ship says in words is a sentence, and a day in it is one part', () => {
  expect(sentence('nobody follows')).toBe('Nobody follows.');
  expect(sentence('')).toBe('');
  expect(aroundDays('invited: Ada to funders, until 2031-12-31')).toEqual(['invited: Ada to funders, until ', '2031-12-31', '']);
  expect(aroundDays('the dive ends')).toEqual(['the dive ends']);
});

test('between dives what an audience saw last is some time ago, not late', () => {
  const sees = { age_s: 180, dive_time_s: 0, vehicles: [] };
  expect(howSeen({ sees, state: 'between dives', followers: 0 })).toMatch(/^last record 3\smin ago · between dives/);
  expect(howSeen({ sees, state: 'releasing', followers: 0 })).toMatch(/^3\smin late · releasing/);
  expect(howSeen({ sees: null, state: 'between dives', followers: 0 })).toMatch(/^nothing yet/);
});
