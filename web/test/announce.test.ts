import { expect, test } from 'vitest';
import { Announcer } from '../src/announce';

test('the first words are said at once, and the same words never twice in a row', () => {
  const announcer = new Announcer(20);
  expect(announcer.offer('one', 0)).toBe('one');
  expect(announcer.offer('one', 500)).toBeNull();
});

test('nothing is said within the least time, and then only the newest', () => {
  const announcer = new Announcer(20);
  announcer.offer('one', 0);
  expect(announcer.offer('two', 19.9)).toBeNull();
  expect(announcer.offer('three', 20)).toBe('three');
  expect(announcer.offer('two', 41)).toBe('two');
});
