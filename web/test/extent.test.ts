import { encode } from '@msgpack/msgpack';
import { describe, expect, test } from 'vitest';
import { extent } from '../src/extent';

const VALUES: readonly unknown[] = [
  null, true, false, 0, 127, 128, 255, 256, 65_535, 65_536, 4_294_967_296, -1, -32, -33, -129, -32_769, -2_147_483_649, 1.5,
  '', 'a'.repeat(31), 'a'.repeat(32), 'a'.repeat(256), 'a'.repeat(65_536),
  new Uint8Array(0), new Uint8Array(255), new Uint8Array(256), new Uint8Array(65_536),
  [], Array(15).fill(1), Array(16).fill(1), Array(65_536).fill(1), {}, { a: [1, { b: null }] },
  Object.fromEntries(Array.from({ length: 16 }, (_, i) => [`k${i}`, i])), new Date(0), new Date(1.5e15),
];

describe('extent', () => {
  test('agrees with the length that a general-purpose encoder (@msgpack/msgpack) gives each kind of value', () => {
    for (const value of VALUES) {
      const bytes = encode(value);
      expect(extent(bytes, 0)).toBe(bytes.length);
    }
  });

  test('finds an object that begins and ends within other bytes', () => {
    const inner = encode(['end', 5]);
    const bytes = new Uint8Array([0xc1, ...inner, 0xc1]);
    expect(extent(bytes, 1)).toBe(1 + inner.length);
  });

  test('calls every proper beginning of an object torn', () => {
    const bytes = encode([1, 'text', { key: new Uint8Array(300) }, [1.5, -70_000]]);
    for (let length = 0; length < bytes.length; length += 1) expect(extent(bytes.subarray(0, length), 0)).toBe('torn');
  });

  test('calls the byte that the specification never uses (0xc1) bad', () => {
    expect(extent(new Uint8Array([0xc1]), 0)).toBe('bad');
    expect(extent(new Uint8Array([0x92, 0x01, 0xc1]), 0)).toBe('bad');
  });

  test('does not believe a count that the bytes cannot hold', () => {
    expect(extent(new Uint8Array([0xdd, 0xff, 0xff, 0xff, 0xff, 0x01, 0x01]), 0)).toBe('torn');
    expect(extent(new Uint8Array([0xc6, 0xff, 0xff, 0xff, 0xff, 0x01]), 0)).toBe('torn');
  });

  test('takes nesting of any depth without a deep stack', () => {
    const deep = new Uint8Array(200_001).fill(0x91);
    deep[200_000] = 0xc0;
    expect(extent(deep, 0)).toBe(deep.length);
  });
});
