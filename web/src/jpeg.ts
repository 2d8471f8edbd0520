/**
 * Whether bytes are a JPEG as the relay releases one, and how large a picture it says it is.
 *
 * Rules: pure; nothing is decoded. It begins with the one JFIF segment that is released (ITU-T T.871, no thumbnail) and
 * ends with its end (ITU-T T.81, annex B); between them stand tables, one frame, and then scans. Whatever else a file
 * could hold, a browser is not handed it.
 */

export interface Size {
  readonly width: number;
  readonly height: number;
}

/** SOI, then APP0: length 16, JFIF, version 1.1, no unit, aspect ratio 1 to 1, no thumbnail. */
const BEGIN = [0xff, 0xd8, 0xff, 0xe0, 0, 16, 0x4a, 0x46, 0x49, 0x46, 0, 1, 1, 0, 0, 1, 0, 1, 0, 0] as const;
const FRAMES = [0xc0, 0xc2];
const TABLES = [0xc4, 0xdb, 0xdd];
const SCAN = 0xda;

/** Return the size in the frame header (B.2.2); null where the bytes are no such JPEG. */
export function jpegSize(bytes: Uint8Array): Size | null {
  const { length } = bytes;
  if (!BEGIN.every((octet, i) => bytes[i] === octet) || bytes[length - 2] !== 0xff || bytes[length - 1] !== 0xd9) return null;
  let at = BEGIN.length;
  let size: Size | null = null;
  while (at + 4 <= length && bytes[at] === 0xff) {
    const marker = bytes[at + 1] as number;
    if (marker === SCAN) return size;
    if (FRAMES.includes(marker) && size === null) size = { height: pair(bytes, at + 5), width: pair(bytes, at + 7) };
    else if (!TABLES.includes(marker)) return null;
    at += 2 + pair(bytes, at + 2);
  }
  return null;
}

function pair(bytes: Uint8Array, at: number): number {
  return (bytes[at] ?? 0) * 256 + (bytes[at + 1] ?? 0);
}
