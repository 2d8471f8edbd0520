import { expect, test } from 'vitest';
import { Announcer } from '../src/announce';

test('the first words are said at once, and the same words never twice in a row', () => {
  const announcer = new Announcer(20);
  expect(announcer.offer('one', 0)).toBe('one');
  expect(announcer.offer('one', 500)).toBeNull();
  expect(announcer.owed_s('one', 500)).toBeNull();
});

test('nothing is said within the least time, and then only the newest', () => {
  const announcer = new Announcer(20);
  announcer.offer('one', 0);
  expect(announcer.offer('two', 19.9)).toBeNull();
  expect(announcer.offer('three', 20)).toBe('three');
  expect(announcer.offer('two', 41)).toBe('two');
});

test('what must wait says for how long', () => {
  const announcer = new Announcer(20);
  expect(announcer.owed_s('one', 5)).toBe(0);
  announcer.offer('one', 5);
  expect(announcer.owed_s('two', 12)).toBe(13);
  expect(announcer.owed_s('two', 60)).toBe(0);
});

test('no words are nothing to say', () => {
  const announcer = new Announcer(20);
  expect([announcer.owed_s('', 0), announcer.offer('', 0)]).toEqual([null, null]);
});
