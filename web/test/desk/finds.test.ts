import { describe, expect, test } from 'vitest';
import { placeOf } from '../../desk/src/panels/finds';
import { words } from '../../desk/src/words';
import { STATE } from './states';

const W = words.finds;
const found = STATE.finds[0]!.as_found;

describe('a record of a find', () => {
  test('says where it has it, how well, whose target that is, and how deep', () => {
    expect(placeOf(found)).toBe('12°\u00a030.078′\u00a0S 071°\u00a015.036′\u00a0E (target T1), within 12\u00a0m (95 %)');
    expect(placeOf({ ...found, target: null, radius_95_m: null, depth_m: 1_030.5 })).toBe('12°\u00a030.078′\u00a0S 071°\u00a015.036′\u00a0E, depth 1,031\u00a0m');
    expect(placeOf({ ...found, latitude_deg: null, longitude_deg: null, target: null, radius_95_m: null })).toBe('no place');
  });

  test('counts what it supersedes and its files, each in its number', () => {
    expect([W.superseded('9', '1'), W.superseded('9', '2')]).toEqual(['Row 9, supersedes the record as found', 'Row 9, supersedes 2 records']);
    expect([W.kept('0', '0'), W.kept('1', '0'), W.kept('2', '1')]).toEqual(['', '1 photograph', '2 photographs, 1 drawing']);
  });
});
