/** Frames for tests, by a general-purpose MessagePack encoder; the shared vectors hold those of the relay itself. */

import { encode } from '@msgpack/msgpack';
import { decodeFrame, Refused, type Released } from '../src/decode';
import { Dive } from '../src/store';

export const HEADER = {
  format: 'offing recording',
  version: 1,
  expedition: 'The search for the Isoline Marr',
  audience: 'public',
  vehicles: ['Lantern', 'Moth'],
  tick_s: 15,
  delay_s: [2_700, 3_300],
  cell_m: 25,
  depth_step_m: 10,
  heading_step_deg: 22.5,
  fields: ['track', 'depth', 'altitude', 'heading', 'pitch', 'roll', 'mode', 'leg', 'notes'],
  place: 'local',
} as const;

type Values = readonly unknown[];
export const SILENT: Values = ['no report', null, null, null, null, null, null, null, null, null];

/** A report at a depth and a position; null where it isn't told. */
export const report = (depth_m: number | null, east_m: number | null = null, north_m: number | null = east_m, leg: string | null = 'bottom', altitude: string | null = 'near the bottom'): Values => [
  'reporting', east_m, north_m, depth_m, 135, altitude, 'tethered', leg, null, null,
];

/** Encode a record and pad it to a whole number of blocks. */
export function frame(dive: number, seq: number, kind: number, elapsed_s: number, body: unknown, block = 64): Uint8Array<ArrayBuffer> {
  for (let pad = 0; ; pad += 1) {
    const bytes = encode([dive, seq, kind, elapsed_s, body, new Uint8Array(pad)]);
    if (bytes.length % block === 0) return bytes.slice();
  }
}

/**
 * A JPEG as far as its markers say (ITU-T T.81, annex B): a bare JFIF segment, a frame of three components, a scan of
 * `more` octets. No picture comes of it; those of the shared vectors were made by a general-purpose library.
 */
export function jpeg(width: number, height: number, more = 0): Uint8Array<ArrayBuffer> {
  const jfif = [0xff, 0xe0, 0, 16, ...new TextEncoder().encode('JFIF'), 0, 1, 1, 0, 0, 1, 0, 1, 0, 0];
  const frame_ = [0xff, 0xc0, 0, 17, 8, height >> 8, height & 255, width >> 8, width & 255, 3, 1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0];
  const scan = [0xff, 0xda, 0, 12, 3, 1, 0, 2, 0x11, 3, 0x11, 0, 63, 0, ...new Uint8Array(more)];
  return Uint8Array.from([0xff, 0xd8, ...jfif, ...frame_, ...scan, 0xff, 0xd9]);
}

/** A dive of ticks, from one list of reports per tick. */
export function diveFrames(dive: number, ticks: readonly (readonly Values[])[], header: object = HEADER): Uint8Array<ArrayBuffer>[] {
  return [frame(dive, 0, 0, 0, header), ...ticks.map((reports, i) => frame(dive, i + 1, 1, 15 * i, reports))];
}

export function joined(parts: readonly Uint8Array[]): Uint8Array<ArrayBuffer> {
  const whole = new Uint8Array(parts.reduce((length, part) => length + part.length, 0));
  parts.reduce((at, part) => (whole.set(part, at), at + part.length), 0);
  return whole;
}

/** Close frames with the footer of a recording. */
export async function closed(frames: readonly Uint8Array[]): Promise<Uint8Array<ArrayBuffer>> {
  const digest = new Uint8Array(await crypto.subtle.digest('SHA-256', joined(frames)));
  const hex = Array.from(digest, (byte) => byte.toString(16).padStart(2, '0')).join('');
  return joined([...frames, encode(['end', frames.length, hex])]);
}

export function decoded(bytes: Uint8Array): Released {
  const record = decodeFrame(bytes);
  if (record instanceof Refused) throw new Error(record.reason);
  return record;
}

/** A dive held, from its frames. */
export function heldDive(frames: readonly Uint8Array[]): Dive {
  const [first, ...rest] = frames.map(decoded);
  if (first?.kind !== 'dive') throw new Error('a dive begins with its header');
  const dive = new Dive(first.dive, first.header);
  for (const record of rest) if (dive.append(record) !== 'taken') throw new Error(`record ${record.seq} was not taken`);
  return dive;
}
