import { describe, expect, test } from 'vitest';
import { resume, staysStopped, Watched } from '../../desk/src/resume';
import { readState } from '../../desk/src/state';
import type { Stop } from '../../desk/src/stop';
import { STATE } from './states';

const one = (name: string, held: boolean, held_row: number | null, outside: string | null = null) => ({ name, held, held_row, outside });
const taken = (at_s: number): Stop => ({ kind: 'taken', at_s, onDisk: true });

describe('a resume', () => {
  test('says the newest hold its desk has seen: of the audience named, or of all', () => {
    const audiences = [one('public', true, 40), one('funders', true, 52), one('crew', false, null)];
    expect(resume('public', audiences)).toEqual({ do: 'resume', audience: 'public', seen: 40 });
    expect(resume(null, audiences)).toEqual({ do: 'resume', audience: null, seen: 52 });
  });

  test('says nothing of it where the ship doesn’t tell', () => {
    expect(resume(null, [one('public', true, null)])).toEqual({ do: 'resume', audience: null });
    expect(resume('crew', [one('public', true, 40), one('crew', true, null)])).toEqual({ do: 'resume', audience: 'crew' });
  });

  test('of all leaves those stopped whose vehicle was outside the declared area', () => {
    expect(staysStopped([one('public', true, 4, 'Moth'), one('funders', true, 4)]).map(({ name }) => name)).toEqual(['public']);
  });

  test('knows the row from the state, which an older ship doesn’t tell', () => {
    const told = (change: object) => readState({ ...STATE, audiences: [{ ...STATE.audiences[1], ...change }] }).audiences[0]?.held_row;
    expect([told({}), told({ held_row: null }), told({ held_row: 812 })]).toEqual([undefined, null, 812]);
    expect(() => told({ held_row: '812' })).toThrow('held_row');
  });
});

describe('a stop that was taken', () => {
  test('stands once the ship has shown it, and is undone where an audience isn’t held any more', () => {
    const watched = new Watched();
    const [free, part, all] = [[one('a', false, null), one('b', false, null)], [one('a', true, 1), one('b', false, 1)], [one('a', true, 1), one('b', true, 1)]];
    expect([free, all, all, part, free, all].map((now) => watched.standing(taken(3), now, 3.2))).toEqual(['awaited', 'stands', 'stands', 'undone', 'undone', 'stands']);
    // Another stop is another matter.
    expect(watched.standing(taken(9), free, 9)).toBe('awaited');
  });

  test('is undone by a state of well after it, even if none has shown it in force; not by one from before', () => {
    const free = [one('a', false, null)];
    expect([2, 3.5, 4.5].map((of_s) => new Watched().standing(taken(3), free, of_s))).toEqual(['awaited', 'awaited', 'undone']);
  });

  test('is all there is to be undone', () => {
    const watched = new Watched();
    const kinds: Stop[] = [{ kind: 'none' }, { kind: 'sending' }, { kind: 'kept', since_s: 0, why: null }, { kind: 'refused' }];
    for (const stop of kinds) for (const held of [true, false]) expect(watched.standing(stop, [one('a', held, null)], 99)).toBe('awaited');
    expect(watched.standing(taken(1), [], 99)).toBe('awaited');
  });
});
