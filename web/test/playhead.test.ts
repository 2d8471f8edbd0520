import { describe, expect, test } from 'vitest';
import { advance, follow, indexAt, pause, play, seek, setRate, START } from '../src/playhead';

describe('the playhead', () => {
  test('follows what goes on', () => {
    expect(advance(START, 0.1, 45, false)).toMatchObject({ at_s: 45, mode: 'following' });
    expect(advance(follow(START, 60), 1, 60, false)).toEqual(follow(START, 60));
  });

  test('keeps within the dive wherever it is set', () => {
    expect(seek(START, -5, 100)).toMatchObject({ at_s: 0, mode: 'paused' });
    expect(seek(START, 500, 100)).toMatchObject({ at_s: 100, mode: 'paused' });
  });

  test('goes on playing from where it is set while it plays', () => {
    expect(seek(play(START, 100), 40, 100)).toMatchObject({ at_s: 40, mode: 'playing' });
  });

  test('plays at its rate from where it is, and from the start if that is the end', () => {
    const playing = play(setRate(seek(START, 40, 100), 10), 100);
    expect(advance(playing, 2, 100, true)).toMatchObject({ at_s: 60, mode: 'playing' });
    expect(play(follow(START, 100), 100)).toMatchObject({ at_s: 0, mode: 'playing' });
  });

  test('stops at the end of a dive that is over, and follows one that goes on', () => {
    const playing = play(seek(START, 90, 100), 100);
    expect(advance(playing, 10, 100, true)).toMatchObject({ at_s: 100, mode: 'paused' });
    expect(advance(playing, 10, 100, false)).toMatchObject({ at_s: 100, mode: 'following' });
  });

  test('stays where it is while it is paused', () => {
    const paused = pause(seek(START, 30, 100));
    expect(advance(paused, 1_000, 200, false)).toEqual(paused);
  });
});

describe('indexAt', () => {
  test('finds the last at or before a time, as a plain search does', () => {
    const elapsed = [0, 15, 30, 30, 45, 75];
    for (let at_s = -1; at_s < 80; at_s += 0.5) {
      expect(indexAt(elapsed, 6, at_s)).toBe(elapsed.filter((value) => value <= at_s).length - 1);
    }
    expect(indexAt(elapsed, 0, 100)).toBe(-1);
  });
});
