import { expect, test } from 'vitest';
import { brief, headOf } from '../../desk/src/panels/promises';
import { readState, type Promised } from '../../desk/src/state';
import { STATE } from './states';

const KEPT: Promised = { audience: 'public', promise_km2: 87, left_km2: 412, ahead_km2: 390, state: 'kept', words: 'public: 412 km2 left to search' };
const STATES = ['near', 'breaks', 'unknown', 'unaudited'] as const;

test('whoever needs a look is named while the part is folded away, and nobody else', () => {
  expect(brief([])).toBe('nothing promised');
  expect(brief([KEPT, { ...KEPT, audience: 'funders' }])).toBe('promises kept');
  expect(brief([KEPT, { ...KEPT, state: 'waiting' }])).toBe('not yet known');
  for (const state of STATES) expect(brief([KEPT, { ...KEPT, audience: 'funders', state }])).toBe('LOOK: funders');
});

test('each state is words of its own', () => {
  const told = [KEPT, ...(['waiting', ...STATES] as const).map((state) => ({ ...KEPT, state }))].map(headOf);
  expect(new Set(told).size).toBe(6);
  expect(told[0]).toBe('public: kept');
});

test('a promise is read whole, and an area that is not known is none', () => {
  const [promise] = STATE.promises;
  expect(readState({ ...STATE, promises: [{ ...promise, left_km2: null, ahead_km2: null }] }).promises[0]?.left_km2).toBeNull();
  expect(() => readState({ ...STATE, promises: [{ ...promise, state: 'fine' }] })).toThrow(/promises/);
  expect(() => readState({ ...STATE, promises: [{ ...promise, left_km2: 'much' }] })).toThrow(/left_km2/);
});
