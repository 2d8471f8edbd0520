import { expect, test } from 'vitest';
import { isTroubled, SILENT_S } from '../../desk/src/panels/standing';

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
