import { describe, expect, test } from 'vitest';
import { firstFree, touch, type Box } from '../src/seats';

const box = (x: number, y: number, width = 40): Box => ({ x, y, width });

describe('seats', () => {
  test('touch where they overlap both ways, and not edge to edge', () => {
    expect(touch(box(0, 0), box(39, 16))).toBe(true);
    expect(touch(box(0, 0), box(40, 0))).toBe(false);
    expect(touch(box(0, 0), box(0, 17))).toBe(false);
  });

  test('are taken in the order of preference', () => {
    const seats = [box(100, 100), box(20, 100), box(60, 140)];
    expect(firstFree(seats, [], 300, 300)).toBe(seats[0]);
    expect(firstFree(seats, [box(120, 105)], 300, 300)).toBe(seats[1]);
    expect(firstFree(seats, [box(0, 95, 200)], 300, 300)).toBe(seats[2]);
  });

  test('that leave the sheet are not taken', () => {
    expect(firstFree([box(270, 100), box(100, 5), box(100, 100)], [], 300, 300)).toEqual(box(100, 100));
  });

  test('can all be taken', () => {
    expect(firstFree([box(10, 10), box(20, 20)], [box(0, 15, 300)], 300, 300)).toBeUndefined();
  });
});
