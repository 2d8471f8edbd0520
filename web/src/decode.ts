/**
 * From bytes to released records: every length and every type is checked here, and nowhere after.
 *
 * Rules: pure but for the digest, whose engine is passed in; bad bytes are a `Refused` with a short countable
 * reason, never an exception; a kind this page doesn't know keeps its place in the sequence; unknown keys and
 * further items are ignored; a word this page doesn't know is an unknown value. How long a frame is padded is the
 * sender's care alone (it hides what a length would tell): whatever the pad, a frame is read. The pad's first bytes are
 * the ship's signature (none: zero); whether it is hers is checked elsewhere, and beyond it the pad is zero.
 */

import { Decoder } from '@msgpack/msgpack';
import { extent } from './extent';
import { jpegSize } from './jpeg';

/** The largest still that the wire allows: octets, and pixels a side (asyncapi.yaml, still). */
export const STILL_OCTETS = 98_304;
export const STILL_SIDE = 1_024;
const LIMITS = { maxStrLength: 4_096, maxBinLength: STILL_OCTETS, maxArrayLength: 256, maxMapLength: 256, maxExtLength: 0 };
/** One for all: it keeps its state between objects of a recording instead of making it anew for each. */
export const unpacker = new Decoder(LIMITS);
const FORMAT = 'offing recording';
const VERSION = 1;
/** How many bytes of a pad are the signature (Ed25519, RFC 8032: 64). */
export const SIGNATURE_OCTETS = 64;
/** How many bytes a tree head has (SHA-256). */
const HEAD_OCTETS = 32;

export const ALTITUDES = ['on the bottom', 'near the bottom', 'mid-water'] as const;
export const MODES = ['tethered', 'autonomous', 'surface'] as const;
export const LEGS = ['deck', 'descent', 'bottom', 'ascent'] as const;
export const VERDICTS = ['unchecked', 'rock', 'modern debris', 'of interest', 'withheld'] as const;
export type Verdict = (typeof VERDICTS)[number];
export type Altitude = (typeof ALTITUDES)[number];
export type Mode = (typeof MODES)[number];
export type Leg = (typeof LEGS)[number];

/** A picture that goes with a note: its bytes are a JPEG of just this size. */
export interface Still {
  readonly width: number;
  readonly height: number;
  readonly jpeg: Uint8Array<ArrayBuffer>;
}

export interface Header {
  readonly expedition: string;
  readonly audience: string;
  readonly vehicles: readonly string[];
  readonly tick_s: number;
  readonly delay_s: readonly [number, number];
  readonly cell_m: number | null;
  readonly depth_step_m: number | null;
  readonly heading_step_deg: number | null;
  readonly fields: ReadonlySet<string>;
  readonly place: string;
  /** Depth is told from where the bottom was first reached, on the bottom alone. */
  readonly isDepthRelative: boolean;
  readonly area: string | null;
  /** The width of ground seen beside the track; null where it isn't told. */
  readonly swath_m: number | null;
  /** The key with which the records were signed, in hexadecimal, as this record says itself; null where it says none. */
  readonly key: string | null;
}

/** What is told of one vehicle at one tick; null is withheld or unknown. */
export interface Report {
  readonly heard: boolean;
  readonly east_m: number | null;
  readonly north_m: number | null;
  readonly depth_m: number | null;
  readonly heading_deg: number | null;
  readonly altitude: Altitude | null;
  readonly mode: Mode | null;
  readonly leg: Leg | null;
  readonly pitch_deg: number | null;
  readonly roll_deg: number | null;
}

interface Place {
  readonly dive: number;
  readonly seq: number;
  readonly elapsed_s: number;
}
export type Released = Place &
  (
    | { readonly kind: 'dive'; readonly header: Header }
    | { readonly kind: 'tick'; readonly reports: readonly Report[] }
    | { readonly kind: 'note'; readonly vehicle: number | null; readonly text: string; readonly still: Still | null }
    | { readonly kind: 'target'; readonly vehicle: number | null; readonly name: string; readonly verdict: Verdict | null }
    | { readonly kind: 'end' }
    /** A tree head of the ship's exact record. */
    | { readonly kind: 'head'; readonly head: Uint8Array }
    | { readonly kind: 'unknown'; readonly code: number }
  );

export class Refused {
  constructor(readonly reason: string) {}
}

class Fault extends Error {}

function must(holds: boolean, reason: string): asserts holds {
  if (!holds) throw new Fault(reason);
}

const isWhole = (value: unknown, least: number): value is number => Number.isSafeInteger(value) && (value as number) >= least;
const isText = (value: unknown, most: number): value is string => typeof value === 'string' && value.length <= most;

function measure(value: unknown, low: number, high: number, reason: string): number | null {
  if (value === null || value === undefined) return null;
  must(typeof value === 'number' && value >= low && value <= high, reason);
  return value;
}

function word<W extends string>(value: unknown, known: readonly W[], reason: string): W | null {
  if (value === null) return null;
  must(typeof value === 'string', reason);
  const at = known.indexOf(value as W);
  return at < 0 ? null : (known[at] as W);
}

/** Decode one frame as it came on the socket. */
export function decodeFrame(bytes: Uint8Array): Released | Refused {
  return refusable(() => {
    must(extent(bytes, 0) === bytes.length, 'not one object');
    return frame(bytes);
  });
}

function refusable<T>(read: () => T): T | Refused {
  try {
    return read();
  } catch (error) {
    if (error instanceof Fault) return new Refused(error.message);
    throw error;
  }
}

/** Decode bytes that are one object, as `extent` has found. */
function frame(bytes: Uint8Array): Released {
  const value = unpacked(bytes);
  must(Array.isArray(value) && value.length >= 6, 'not an array of six');
  const [dive, seq, kind, elapsed_s, body, pad] = value as unknown[];
  must(isWhole(dive, 1), 'dive number');
  must(isWhole(seq, 0), 'sequence number');
  must(isWhole(kind, 0), 'kind');
  must(typeof elapsed_s === 'number' && elapsed_s >= 0 && elapsed_s < 1e8, 'dive time');
  must(pad instanceof Uint8Array && isEmpty(pad), 'padding');
  must((kind === 0) === (seq === 0), 'a dive begins with its header');
  return { dive, seq, elapsed_s, ...bodyOf(kind, body) };
}

function isEmpty(pad: Uint8Array): boolean {
  for (let i = SIGNATURE_OCTETS; i < pad.length; i += 1) if (pad[i] !== 0) return false;
  return true;
}

function unpacked(bytes: Uint8Array): unknown {
  try {
    return unpacker.decode(bytes);
  } catch {
    throw new Fault('not readable');
  }
}

type Body = Released extends infer R ? (R extends Place ? Omit<R, keyof Place> : never) : never;

function bodyOf(kind: number, body: unknown): Body {
  switch (kind) {
    case 0:
      return { kind: 'dive', header: headerOf(body) };
    case 1:
      must(Array.isArray(body), 'tick is not a list');
      return { kind: 'tick', reports: body.map(reportOf) };
    case 2:
      return { ...noteOf(body), still: null };
    case 3:
      must(body === null, 'end has a body');
      return { kind: 'end' };
    case 4:
      must(Array.isArray(body) && body.length >= 3, 'target is not a triple');
      must(body[0] === null || isWhole(body[0], 0), 'target: vehicle');
      must(isText(body[1], 1_000), 'target: name');
      return { kind: 'target', vehicle: body[0] as number | null, name: body[1] as string, verdict: word(body[2], VERDICTS, 'target: verdict') };
    case 5:
      return { ...noteOf(body), still: stillOf(body as unknown[]) };
    case 7: {
      const head: unknown = Array.isArray(body) ? body[0] : null;
      must(head instanceof Uint8Array && head.length === HEAD_OCTETS, 'head is not a hash');
      return { kind: 'head', head };
    }
    default:
      return { kind: 'unknown', code: kind };
  }
}

function noteOf(body: unknown): { readonly kind: 'note'; readonly vehicle: number | null; readonly text: string } {
  must(Array.isArray(body) && body.length >= 2, 'note is not a pair');
  const [vehicle, text] = body as unknown[];
  must(vehicle === null || isWhole(vehicle, 0), 'note: vehicle');
  must(isText(text, 1_000), 'note: text');
  return { kind: 'note', vehicle, text };
}

/** Read the still behind a note's vehicle and words. It is copied, or it would keep the whole recording in memory. */
function stillOf([, , width, height, jpeg]: readonly unknown[]): Still {
  must(isWhole(width, 1) && width <= STILL_SIDE && isWhole(height, 1) && height <= STILL_SIDE, 'still: size');
  must(jpeg instanceof Uint8Array && jpeg.length <= STILL_OCTETS, 'still: picture');
  const size = jpegSize(jpeg);
  must(size !== null, 'still: not a plain JPEG');
  must(size.width === width && size.height === height, 'still: another size than its picture');
  return { width, height, jpeg: jpeg.slice() };
}

function headerOf(body: unknown): Header {
  must(typeof body === 'object' && body !== null && !Array.isArray(body), 'header is not a map');
  const map = body as Record<string, unknown>;
  must(map.format === FORMAT, 'header: format');
  must(map.version === VERSION, 'header: version');
  const { expedition, audience, vehicles, tick_s, delay_s, fields, place } = map;
  must(isText(expedition, 500) && isText(audience, 100), 'header: names');
  must(Array.isArray(vehicles) && vehicles.length <= 16 && vehicles.every((name) => isText(name, 100)), 'header: vehicles');
  must(typeof tick_s === 'number' && tick_s > 0 && tick_s < 1e6, 'header: tick');
  must(Array.isArray(delay_s) && delay_s.length === 2, 'header: delay');
  const [least, most] = delay_s.map((value) => measure(value, 0, 1e8, 'header: delay'));
  must(typeof least === 'number' && typeof most === 'number' && least <= most, 'header: delay');
  must(Array.isArray(fields) && fields.every((name) => isText(name, 100)), 'header: fields');
  must(isText(place, 100), 'header: place');
  const area = map.area ?? null;
  must(area === null || isText(area, 500), 'header: area');
  return {
    expedition,
    audience,
    vehicles: vehicles as string[],
    tick_s,
    delay_s: [least, most],
    cell_m: measure(map.cell_m, 1e-3, 1e6, 'header: cell'),
    depth_step_m: measure(map.depth_step_m, 1e-3, 1e5, 'header: depth step'),
    heading_step_deg: measure(map.heading_step_deg, 1e-3, 360, 'header: heading step'),
    fields: new Set(fields as string[]),
    place,
    isDepthRelative: map.depth === 'relative',
    area,
    swath_m: measure(map.swath_m, 1e-3, 1e5, 'header: swath'),
    key: keyOf(map.key),
  };
}

function keyOf(value: unknown): string | null {
  if (value === undefined) return null;
  must(typeof value === 'string' && /^[0-9a-f]{64}$/.test(value), 'header: key');
  return value;
}

function reportOf(item: unknown): Report {
  must(Array.isArray(item) && item.length >= 10, 'report is not a list of ten');
  const [status, east, north, depth, heading, altitude, mode, leg, pitch, roll] = item as unknown[];
  must(typeof status === 'string', 'report: status');
  return {
    heard: status === 'reporting',
    east_m: measure(east, -1e7, 1e7, 'report: east'),
    north_m: measure(north, -1e7, 1e7, 'report: north'),
    depth_m: measure(depth, -100, 12_100, 'report: depth'),
    heading_deg: measure(heading, 0, 360, 'report: heading'),
    altitude: word(altitude, ALTITUDES, 'report: altitude'),
    mode: word(mode, MODES, 'report: mode'),
    leg: word(leg, LEGS, 'report: leg'),
    pitch_deg: measure(pitch, -90, 90, 'report: pitch'),
    roll_deg: measure(roll, -180, 180, 'report: roll'),
  };
}

export interface Footer {
  readonly count: number;
  readonly sha256: string;
}

/** A recording read back. `frameBytes` is the length of its whole frames; what follows them is no record. */
export interface Recording {
  readonly records: readonly Released[];
  /** Where each of them ends. */
  readonly ends: readonly number[];
  readonly frameBytes: number;
  readonly footer: Footer | null;
  /** 'closed' with a footer, 'open' without, 'torn' if the last object is cut off, else why it is refused. */
  readonly ending: 'closed' | 'open' | 'torn' | Refused;
}

/** Read a recording: frames as they were sent, then a footer if the dive is over; a torn tail is cut. */
export function decodeRecording(bytes: Uint8Array): Recording {
  const records: Released[] = [];
  const ends: number[] = [];
  let at = 0;
  const stop = (ending: Recording['ending'], footer: Footer | null = null): Recording => ({
    records,
    ends,
    frameBytes: at,
    footer,
    ending,
  });
  while (at < bytes.length) {
    const end = extent(bytes, at);
    if (end === 'torn') return stop('torn');
    if (end === 'bad') return stop(new Refused('not readable'));
    const object = bytes.subarray(at, end);
    const footer = footerOf(object);
    if (footer) return stop(end === bytes.length ? 'closed' : new Refused('bytes after the footer'), footer);
    const record = refusable(() => frame(object));
    if (record instanceof Refused) return stop(record);
    if (record.seq !== records.length) return stop(new Refused('a record is missing or out of place'));
    records.push(record);
    ends.push(end);
    at = end;
  }
  return stop('open');
}

const ARRAY_OF_THREE = 0x93;

function footerOf(object: Uint8Array): Footer | null {
  if (object.length > 200 || object[0] !== ARRAY_OF_THREE) return null;
  try {
    const value = unpacker.decode(object);
    if (!Array.isArray(value) || value.length !== 3 || value[0] !== 'end') return null;
    return isWhole(value[1], 0) && isText(value[2], 64) ? { count: value[1], sha256: value[2] } : null;
  } catch {
    return null;
  }
}

export type Integrity = 'verified' | 'unchecked' | 'incomplete' | 'damaged';
type Digest = (algorithm: 'SHA-256', data: Uint8Array<ArrayBuffer>) => Promise<ArrayBuffer>;

/**
 * Tell whether a recording is what its footer says: SHA-256 (FIPS 180-4) over all frames. `digest` is null where
 * the browser offers none (a page not served securely).
 */
export async function checkRecording(bytes: Uint8Array, recording: Recording, digest: Digest | null): Promise<Integrity> {
  if (recording.ending instanceof Refused) return 'damaged';
  if (recording.footer === null) return 'incomplete';
  if (recording.footer.count !== recording.records.length) return 'damaged';
  if (digest === null) return 'unchecked';
  const found = new Uint8Array(await digest('SHA-256', bytes.slice(0, recording.frameBytes)));
  const hex = Array.from(found, (byte) => byte.toString(16).padStart(2, '0')).join('');
  return hex === recording.footer.sha256 ? 'verified' : 'damaged';
}

export interface DiveEntry {
  readonly dive: number;
  readonly closed: boolean;
  readonly records: number;
  readonly recording: string;
}
export interface DiveList {
  readonly expedition: string;
  readonly audience: string;
  readonly dives: readonly DiveEntry[];
}

/** Read the list of dives; entries come out in the order of their numbers. */
export function decodeDives(bytes: Uint8Array): DiveList | Refused {
  try {
    return divesOf(parsed(bytes));
  } catch (error) {
    if (error instanceof Fault) return new Refused(error.message);
    throw error;
  }
}

function parsed(bytes: Uint8Array): unknown {
  try {
    return JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes));
  } catch {
    throw new Fault('not JSON');
  }
}

function divesOf(value: unknown): DiveList {
  must(typeof value === 'object' && value !== null, 'list of dives: not a map');
  const { format, expedition, audience, dives } = value as Record<string, unknown>;
  must(format === 1, 'list of dives: format');
  must(isText(expedition, 500) && isText(audience, 100), 'list of dives: names');
  must(Array.isArray(dives), 'list of dives: no list');
  const entries = dives.map(entryOf).sort((one, other) => one.dive - other.dive);
  return { expedition, audience, dives: entries };
}

function entryOf(value: unknown): DiveEntry {
  must(typeof value === 'object' && value !== null, 'list of dives: entry');
  const { dive, closed, records, recording } = value as Record<string, unknown>;
  must(isWhole(dive, 1) && isWhole(records, 0) && typeof closed === 'boolean', 'list of dives: entry');
  must(isText(recording, 500) && /^[\w.-]+(\/[\w.-]+)*$/.test(recording) && !recording.includes('..'), 'list of dives: address');
  return { dive, closed, records, recording };
}
