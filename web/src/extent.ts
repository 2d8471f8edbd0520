/**
 * Where a MessagePack object ends, without reading it.
 *
 * Rules: no object is built and nothing recurses, so hostile nesting costs no stack; a count or length is believed
 * only as far as there are bytes. Formats: the MessagePack specification (github.com/msgpack/msgpack, spec.md).
 */

export type Extent = number | 'torn' | 'bad';

/** Bytes that follow the type byte: [fixed bytes, bytes of a length field, extra bytes beyond that length]. */
const SIZED: Readonly<Record<number, readonly [number, number, number]>> = {
  0xc0: [0, 0, 0], 0xc2: [0, 0, 0], 0xc3: [0, 0, 0],
  0xc4: [0, 1, 0], 0xc5: [0, 2, 0], 0xc6: [0, 4, 0],
  0xc7: [0, 1, 1], 0xc8: [0, 2, 1], 0xc9: [0, 4, 1],
  0xca: [4, 0, 0], 0xcb: [8, 0, 0],
  0xcc: [1, 0, 0], 0xcd: [2, 0, 0], 0xce: [4, 0, 0], 0xcf: [8, 0, 0],
  0xd0: [1, 0, 0], 0xd1: [2, 0, 0], 0xd2: [4, 0, 0], 0xd3: [8, 0, 0],
  0xd4: [2, 0, 0], 0xd5: [3, 0, 0], 0xd6: [5, 0, 0], 0xd7: [9, 0, 0], 0xd8: [17, 0, 0],
  0xd9: [0, 1, 0], 0xda: [0, 2, 0], 0xdb: [0, 4, 0],
};

/** Containers: [bytes of the count, objects per entry]. */
const COUNTED: Readonly<Record<number, readonly [number, number]>> = {
  0xdc: [2, 1], 0xdd: [4, 1], 0xde: [2, 2], 0xdf: [4, 2],
};

/**
 * Return the offset just past the object that begins at `offset`; 'torn' if the bytes end before it does, 'bad'
 * if a byte there begins no MessagePack object.
 */
export function extent(bytes: Uint8Array, offset: number): Extent {
  let at = offset;
  let owed = 1;
  while (owed > 0) {
    if (at >= bytes.length) return 'torn';
    const step = one(bytes, at);
    if (typeof step === 'string') return step;
    at = step.end;
    owed += step.children - 1;
    if (owed > bytes.length - at) return 'torn';
  }
  return at;
}

function one(bytes: Uint8Array, at: number): { end: number; children: number } | 'torn' | 'bad' {
  const type = bytes[at] as number;
  if (type < 0x80 || type >= 0xe0) return { end: at + 1, children: 0 };
  if (type < 0x90) return { end: at + 1, children: 2 * (type & 0x0f) };
  if (type < 0xa0) return { end: at + 1, children: type & 0x0f };
  if (type < 0xc0) return { end: at + 1 + (type & 0x1f), children: 0 };
  const counted = COUNTED[type];
  if (counted) {
    const count = unsigned(bytes, at + 1, counted[0]);
    return count === null ? 'torn' : { end: at + 1 + counted[0], children: count * counted[1] };
  }
  const sized = SIZED[type];
  if (!sized) return 'bad';
  const size = unsigned(bytes, at + 1, sized[1]);
  return size === null ? 'torn' : { end: at + 1 + sized[0] + sized[1] + size + sized[2], children: 0 };
}

function unsigned(bytes: Uint8Array, at: number, width: number): number | null {
  if (at + width > bytes.length) return null;
  let value = 0;
  for (let i = 0; i < width; i += 1) value = value * 256 + (bytes[at + i] as number);
  return value;
}
