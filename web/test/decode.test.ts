import { decode, encode } from '@msgpack/msgpack';
import { describe, expect, test } from 'vitest';
import vectors from '../../tests/vectors/wire.json';
import { checkRecording, decodeDives, decodeFrame, decodeRecording, Refused, SIGNATURE_OCTETS, STILL_OCTETS, STILL_SIDE, type Released } from '../src/decode';
import { closed, decoded, diveFrames, frame, HEADER, jpeg, joined, report, SILENT } from './frames';

const bytesOf = (hex: string): Uint8Array<ArrayBuffer> => Uint8Array.from(hex.match(/../g) ?? [], (pair) => parseInt(pair, 16));
const hexOf = (bytes: Uint8Array): string => Array.from(bytes, (octet) => octet.toString(16).padStart(2, '0')).join('');
const reasonOf = (result: unknown): string => (result instanceof Refused ? result.reason : 'taken');
const digest = crypto.subtle.digest.bind(crypto.subtle);

/** The relay's own frames (provenance in the file), read by its decoder and by this one. */
const FRAMES = vectors.frames.map((vector) => ({ ...vector, bytes: bytesOf(vector.hex) }));
const RECORDING = joined([...FRAMES.map(({ bytes }) => bytes), bytesOf(vectors.footer_hex)]);

function bodyAgain(record: Released): unknown {
  if (record.kind === 'note' && record.still !== null) {
    const { width, height, jpeg } = record.still;
    return [record.vehicle, record.text, width, height, hexOf(jpeg)];
  }
  if (record.kind === 'note') return [record.vehicle, record.text];
  if (record.kind === 'head') return [hexOf(record.head)];
  if (record.kind !== 'tick') return null;
  return record.reports.map((r) => [
    r.heard ? 'reporting' : 'no report', r.east_m, r.north_m, r.depth_m, r.heading_deg, r.altitude, r.mode, r.leg, r.pitch_deg, r.roll_deg,
  ]);
}

describe('the shared vectors', () => {
  test('each frame, whole, is the record that the relay says it is', () => {
    expect(FRAMES.length).toBeGreaterThan(4);
    for (const { bytes, dive, seq, kind, elapsed_s, body } of FRAMES) {
      const record = decoded(bytes);
      expect([record.dive, record.seq, record.elapsed_s]).toEqual([dive, seq, elapsed_s]);
      expect(record.kind).toBe(['dive', 'tick', 'note', 'end', 'target', 'note', 'programme', 'head'][kind]);
      if (record.kind === 'dive') expect(record.header).toMatchObject({ vehicles: ['Lantern', 'Moth'], delay_s: [2_700, 3_300], tick_s: 15 });
      else expect(bodyAgain(record)).toEqual(body);
    }
  });

  test('each frame with bytes behind it, or cut anywhere, is refused', () => {
    for (const { bytes } of FRAMES) {
      expect(reasonOf(decodeFrame(joined([bytes, bytes])))).toBe('not one object');
      expect(reasonOf(decodeFrame(joined([bytes, new Uint8Array(1)])))).toBe('not one object');
      for (let length = 0; length < bytes.length; length += 1) expect(decodeFrame(bytes.subarray(0, length))).toBeInstanceOf(Refused);
    }
  });

  test('the recording cut after any byte gives a prefix of its records, and is never taken for a closed one', () => {
    const ends = FRAMES.map((_, i) => joined(FRAMES.slice(0, i + 1).map(({ bytes }) => bytes)).length);
    for (let length = 0; length < RECORDING.length; length += 1) {
      const cut = decodeRecording(RECORDING.subarray(0, length));
      expect(cut.records.length).toBe(ends.filter((end) => end <= length).length);
      expect(cut.ending).toBe(length === 0 || ends.includes(length) ? 'open' : 'torn');
    }
  });

  test('the whole recording is closed, and its SHA-256 agrees with the footer', async () => {
    const recording = decodeRecording(RECORDING);
    expect(recording.ending).toBe('closed');
    expect(recording.records.length).toBe(FRAMES.length);
    expect(await checkRecording(RECORDING, recording, digest)).toBe('verified');
  });

  test('bytes after the footer are refused', () => {
    expect(reasonOf(decodeRecording(joined([RECORDING, new Uint8Array(1)])).ending)).toBe('bytes after the footer');
  });
});

describe('a frame', () => {
  const tick = (...values: unknown[]) => frame(1, 1, 1, 15, values);
  const header = (change: object) => frame(1, 0, 0, 0, { ...HEADER, ...change });

  test('of an unknown kind keeps its place in the sequence', () => {
    expect(decoded(frame(3, 7, 9, 30, { anything: [1, 2] }))).toEqual({ dive: 3, seq: 7, elapsed_s: 30, kind: 'unknown', code: 9 });
  });

  test('may hold keys and items that a later relay adds', () => {
    expect(decoded(header({ later: { deep: [1] } })).kind).toBe('dive');
    expect(decoded(tick([...report(10), 'later'])).kind).toBe('tick');
  });

  test('is read whatever its pad', () => {
    for (const block of [1, 7, 64]) expect(decoded(frame(1, 1, 1, 15, [SILENT], block)).kind).toBe('tick');
  });

  test('tells a target and its verdict', () => {
    expect(decoded(frame(1, 3, 4, 15, [0, 'Echo 7', 'of interest']))).toMatchObject({ kind: 'target', name: 'Echo 7', verdict: 'of interest' });
    expect(decoded(frame(1, 3, 4, 15, [null, 'Echo 7', 'a later word']))).toMatchObject({ kind: 'target', verdict: null });
    expect(reasonOf(decodeFrame(frame(1, 3, 4, 15, [null, 'Echo 7'])))).toBe('target is not a triple');
  });

  test('tells a tree head of just the bytes of its hash', () => {
    const head = (...body: unknown[]) => decodeFrame(frame(1, 3, 7, 60, body));
    expect(head(new Uint8Array(32).fill(7))).toMatchObject({ kind: 'head', seq: 3, head: new Uint8Array(32).fill(7) });
    for (const body of [[], [new Uint8Array(31)], [new Uint8Array(33)], ['7'.repeat(32)]]) expect(reasonOf(head(...body))).toBe('head is not a hash');
    expect(reasonOf(decodeFrame(frame(1, 3, 7, 60, null)))).toBe('head is not a hash');
  });

  test('tells an unknown word as an unknown value', () => {
    const record = decoded(tick(['reporting', null, null, null, null, 'hovering', 'towed', 'transit', null, null]));
    expect(record).toMatchObject({ reports: [{ altitude: null, mode: null, leg: null }] });
  });

  test.each([
    ['an empty message', new Uint8Array(0), 'not one object'],
    ['bytes that are no MessagePack', new Uint8Array(64).fill(0xc1), 'not one object'],
    ['a map', frame(1, 1, 1, 0, null).fill(0x80, 0, 1), 'not one object'],
    ['dive 0', frame(0, 1, 3, 0, null), 'dive number'],
    ['a negative number', frame(1, -1, 3, 0, null), 'sequence number'],
    ['a number past 2^53', frame(1, 2 ** 60, 3, 0, null), 'sequence number'],
    ['time before the dive', frame(1, 1, 3, -1, null), 'dive time'],
    ['time that is no number', frame(1, 1, 3, NaN, null), 'dive time'],
    ['a header in mid-dive', frame(1, 1, 0, 0, HEADER), 'a dive begins with its header'],
    ['a dive without a header', frame(1, 0, 3, 0, null), 'a dive begins with its header'],
    ['another format', header({ format: 'logbook' }), 'header: format'],
    ['a later version', header({ version: 2 }), 'header: version'],
    ['a delay that ends before it begins', header({ delay_s: [60, 30] }), 'header: delay'],
    ['no tick', header({ tick_s: 0 }), 'header: tick'],
    ['a vehicle without a name', header({ vehicles: [7] }), 'header: vehicles'],
    ['a depth of infinity', tick(report(Infinity)), 'report: depth'],
    ['a depth in words', tick(['reporting', null, null, 'deep', null, null, null, null, null, null]), 'report: depth'],
    ['a heading past the circle', tick(['reporting', null, null, null, 361, null, null, null, null, null]), 'report: heading'],
    ['a report cut short', tick(SILENT.slice(0, 9)), 'report is not a list of ten'],
    ['a note without a text', frame(1, 1, 2, 0, [0]), 'note is not a pair'],
    ['a note of a vehicle below zero', frame(1, 1, 2, 0, [-1, 'x']), 'note: vehicle'],
    ['an end with a body', frame(1, 1, 3, 0, []), 'end has a body'],
  ])('with %s is refused', (_, bytes, reason) => {
    expect(reasonOf(decodeFrame(bytes))).toBe(reason);
  });

  test('with a pad that is not zero beyond its signature is refused', () => {
    const bytes = frame(1, 1, 3, 0, null, 192);
    const pad = (decode(bytes) as Uint8Array[])[5] as Uint8Array;
    const end = bytes.length - pad.length + SIGNATURE_OCTETS;
    bytes.fill(0xff, end - SIGNATURE_OCTETS, end);
    expect(decoded(bytes).kind).toBe('end');
    bytes[end] = 1;
    expect(reasonOf(decodeFrame(bytes))).toBe('padding');
  });

  test('tells the key that its header names', () => {
    const key = 'd75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a';
    expect(decoded(header({ key }))).toMatchObject({ header: { key } });
    expect(decoded(header({}))).toMatchObject({ header: { key: null } });
    for (const other of [key.slice(2), key.toUpperCase(), 7]) expect(reasonOf(decodeFrame(header({ key: other })))).toBe('header: key');
  });

  test('takes each limit at it and refuses one past it', () => {
    expect(reasonOf(decodeFrame(tick(report(12_100))))).toBe('taken');
    expect(reasonOf(decodeFrame(tick(report(12_100.5))))).toBe('report: depth');
    expect(reasonOf(decodeFrame(frame(1, 1, 2, 0, [null, 'x'.repeat(1_000)])))).toBe('taken');
    expect(reasonOf(decodeFrame(frame(1, 1, 2, 0, [null, 'x'.repeat(1_001)])))).toBe('note: text');
  });

  test('made of noise never throws', () => {
    let state = 1;
    const noise = () => (state = (state * 48_271) % 2_147_483_647) & 0xff;
    for (let n = 0; n < 3_000; n += 1) {
      const bytes = Uint8Array.from({ length: 64 }, noise);
      bytes[0] = n % 2 === 0 ? 0x96 : (bytes[0] as number);
      expect(() => decodeFrame(bytes)).not.toThrow();
    }
  });
});

describe('a still', () => {
  const [wide, high] = [640, 480];
  const still = (picture: unknown, size: readonly unknown[] = [wide, high], first: readonly unknown[] = [0, 'The bell']) =>
    decodeFrame(frame(1, 1, 5, 15, [...first, ...size, picture]));
  const plain = jpeg(wide, high);
  const altered = (at: number, octet: number) => Uint8Array.from(plain, (one, i) => (i === at ? octet : one));
  const filled = (octets: number) => jpeg(wide, high, octets - plain.length);

  test('comes with the words of its note, and keeps no more in memory than its own bytes', () => {
    const record = still(plain);
    if (record instanceof Refused || record.kind !== 'note' || record.still === null) throw new Error('no still');
    expect(record).toMatchObject({ kind: 'note', vehicle: 0, text: 'The bell', still: { width: wide, height: high } });
    expect(Array.from(record.still.jpeg)).toEqual(Array.from(plain));
    expect(record.still.jpeg.buffer.byteLength).toBe(plain.length);
  });

  test('may be as large as the wire allows, in octets and a side, and no larger', () => {
    expect(filled(STILL_OCTETS).length).toBe(98_304);
    expect(reasonOf(still(filled(STILL_OCTETS)))).toBe('taken');
    expect(reasonOf(still(filled(STILL_OCTETS + 1)))).toBe('not readable');
    expect(reasonOf(still(jpeg(STILL_SIDE, 1), [STILL_SIDE, 1]))).toBe('taken');
    expect(reasonOf(still(jpeg(STILL_SIDE + 1, 1), [STILL_SIDE + 1, 1]))).toBe('still: size');
    expect(reasonOf(still(jpeg(1, STILL_SIDE + 1), [1, STILL_SIDE + 1]))).toBe('still: size');
  });

  test.each([
    ['no picture', still(undefined), 'still: picture'],
    ['a picture in words', still('ffd8'), 'still: picture'],
    ['no bytes', still(new Uint8Array(0)), 'still: not a plain JPEG'],
    ['a PNG', still(Uint8Array.from([0x89, 0x50, 0x4e, 0x47, 13, 10, 26, 10, ...plain])), 'still: not a plain JPEG'],
    ['an SVG', still(new TextEncoder().encode('<svg xmlns="http://www.w3.org/2000/svg"/>')), 'still: not a plain JPEG'],
    ['another first segment', still(altered(3, 0xe1)), 'still: not a plain JPEG'],
    ['a density of its own', still(altered(13, 1)), 'still: not a plain JPEG'],
    ['a comment', still(altered(21, 0xfe)), 'still: not a plain JPEG'],
    ['bytes behind its end', still(joined([plain, new Uint8Array(2)])), 'still: not a plain JPEG'],
    ['its end cut off', still(plain.subarray(0, -1)), 'still: not a plain JPEG'],
    ['no frame', still(Uint8Array.from([...plain.subarray(0, 20), 0xff, 0xd9])), 'still: not a plain JPEG'],
    ['another width than its picture', still(plain, [wide + 1, high]), 'still: another size than its picture'],
    ['another height than its picture', still(plain, [wide, high - 1]), 'still: another size than its picture'],
    ['a width of nothing', still(plain, [0, high]), 'still: size'],
    ['a width in parts', still(plain, [640.5, high]), 'still: size'],
    ['no words', still(plain, [wide, high], [0, null]), 'note: text'],
    ['a vehicle below zero', still(plain, [wide, high], [-1, 'The bell']), 'note: vehicle'],
  ])('with %s is refused', (_, result, reason) => {
    expect(reasonOf(result)).toBe(reason);
  });
});

describe('a recording', () => {
  const frames = diveFrames(1, [[SILENT, SILENT], [report(10), SILENT]]);

  test('with a record left out is refused, and keeps what came before', () => {
    const recording = decodeRecording(joined([frames[0] as Uint8Array, frames[2] as Uint8Array]));
    expect(reasonOf(recording.ending)).toBe('a record is missing or out of place');
    expect(recording.records.length).toBe(1);
  });

  test('with one depth changed reads well, and is damaged', async () => {
    const other = diveFrames(1, [[SILENT, SILENT], [report(11), SILENT]]);
    const bytes = await closed(frames);
    bytes.set(joined(other));
    const recording = decodeRecording(bytes);
    expect(recording.ending).toBe('closed');
    expect(await checkRecording(bytes, recording, digest)).toBe('damaged');
  });

  test('whose footer counts wrongly is damaged, whether or not a digest can be had', async () => {
    const bytes = joined([...frames, encode(['end', 2, '0'.repeat(64)])]);
    expect(await checkRecording(bytes, decodeRecording(bytes), null)).toBe('damaged');
  });

  test('is unchecked where the browser offers no digest, and incomplete without a footer', async () => {
    const bytes = await closed(frames);
    expect(await checkRecording(bytes, decodeRecording(bytes), null)).toBe('unchecked');
    expect(await checkRecording(joined(frames), decodeRecording(joined(frames)), digest)).toBe('incomplete');
  });
});

describe('the list of dives', () => {
  const list = (change: object, entry: object = {}) =>
    new TextEncoder().encode(
      JSON.stringify({
        format: 1, expedition: 'The search', audience: 'public',
        dives: [{ dive: 1, closed: true, records: 3, recording: 'recordings/public/dive-001.recording', ...entry }], ...change,
      }),
    );

  test('comes out in the order of the dives', () => {
    const entry = { closed: true, records: 1, recording: 'a' };
    expect(decodeDives(list({ dives: [{ ...entry, dive: 2 }, { ...entry, dive: 1 }] }))).toMatchObject({ dives: [{ dive: 1 }, { dive: 2 }] });
  });

  test.each([
    ['no JSON', new TextEncoder().encode('<html>'), 'not JSON'],
    ['bytes that are no UTF-8', new Uint8Array([0x22, 0xff, 0x22]), 'not JSON'],
    ['another format', list({ format: 2 }), 'list of dives: format'],
    ['no dives', list({ dives: null }), 'list of dives: no list'],
    ['an address elsewhere', list({}, { recording: 'https://elsewhere/x' }), 'list of dives: address'],
    ['an address above this page', list({}, { recording: '../x' }), 'list of dives: address'],
    ['an address from the root', list({}, { recording: '/x' }), 'list of dives: address'],
  ])('with %s is refused', (_, bytes, reason) => {
    expect(reasonOf(decodeDives(bytes))).toBe(reason);
  });
});
