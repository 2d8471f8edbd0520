import { expect, test } from 'vitest';
import vectors from '../../tests/vectors/wire.json';
import { jpegSize } from '../src/jpeg';
import { jpeg } from './frames';

/** A JPEG written by Pillow, as the relay releases it (provenance in the file). */
const [, , width, height, hex] = vectors.frames.find(({ kind }) => kind === 5)?.body as [number, string, number, number, string];
const WRITTEN = Uint8Array.from(hex.match(/../g) ?? [], (pair) => parseInt(pair, 16));

test('the size is the one in the frame header', () => {
  expect(jpegSize(WRITTEN)).toEqual({ width, height });
  expect(jpegSize(jpeg(1_024, 3))).toEqual({ width: 1_024, height: 3 });
});

test('cut anywhere it is no whole picture', () => {
  for (let length = 0; length < WRITTEN.length; length += 1) expect(jpegSize(WRITTEN.subarray(0, length))).toBeNull();
});

test('any other octet among the first twenty, and any other marker, is refused', () => {
  for (let at = 0; at < 20; at += 1) {
    for (const octet of [0, 1, 0x4a, 0xff]) {
      const other = Uint8Array.from(WRITTEN, (one, i) => (i === at ? octet : one));
      if (octet !== WRITTEN[at]) expect(jpegSize(other), `octet ${at}`).toBeNull();
    }
  }
  for (let marker = 0; marker < 256; marker += 1) {
    const other = Uint8Array.from(jpeg(8, 8), (one, i) => (i === 21 ? marker : one));
    expect(jpegSize(other) === null).toBe(![0xc0, 0xc2].includes(marker));
  }
});

test('a segment that is longer than the file ends the reading', () => {
  expect(jpegSize(Uint8Array.from(jpeg(8, 8), (one, i) => (i === 22 ? 0xff : one)))).toBeNull();
});

test('a second frame is refused', () => {
  const one = jpeg(8, 8);
  const twice = Uint8Array.from([...one.subarray(0, 39), ...one.subarray(20, 39), ...one.subarray(39)]);
  expect(jpegSize(one)).not.toBeNull();
  expect(jpegSize(twice)).toBeNull();
});
