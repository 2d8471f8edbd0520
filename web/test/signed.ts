/** Frames as the relay signs them (provenance in the file), and the engine that checks them here: Node's own Web Cryptography. */

import { encode } from '@msgpack/msgpack';
import { padStart } from '../src/seal';
import { HEADER, joined, SILENT } from './frames';
import { settled } from './ports';
import vectors from '../../tests/vectors/signed.json';

export const bytesOf = (hex: string): Uint8Array<ArrayBuffer> => Uint8Array.from(hex.match(/../g) ?? [], (pair) => parseInt(pair, 16));
const all = (several: readonly string[]) => several.map(bytesOf);

export const KEY = vectors.key;
export const STRANGERS_KEY = vectors.strangers_key;
export const EVERY_KIND = all(vectors.every_kind);
export const DIVE = all(vectors.dive);
export const NEXT_DIVE = all(vectors.next_dive);
export const FUNDERS = all(vectors.funders);
export const STRANGER = all(vectors.stranger);
export const PROGRAMMES = all(vectors.programme);

/** A frame with one bit turned over. */
export function altered(frame: Uint8Array, at: number, bit = 0): Uint8Array<ArrayBuffer> {
  const bytes = frame.slice();
  bytes[at] = (bytes[at] as number) ^ (1 << bit);
  return bytes;
}

/** Where the depth of the only vehicle stands in a tick of these dives: behind 'reporting' and two places. */
export const inTick = (frame: Uint8Array): number => frame.findIndex((octet, i) => octet === 0xa9 && frame[i + 1] === 0x72) + 12;

/** A frame that says what it said, under another signature. */
export const illSigned = (frame: Uint8Array): Uint8Array<ArrayBuffer> => altered(frame, padStart(frame) as number);

/** Checks are done by threads of Node's: wait until `isDone`, turn by turn. */
export async function until(isDone: () => boolean): Promise<void> {
  for (let turn = 0; turn < 5_000 && !isDone(); turn += 1) await settled();
  if (!isDone()) throw new Error('it never came about');
}

/** A longer dive than the shared one, signed for the public by Node's own Ed25519 with a key made for it. */
export async function longDive(ticks: number, dive = 1): Promise<Uint8Array<ArrayBuffer>[]> {
  const pair = (await crypto.subtle.generateKey({ name: 'Ed25519' }, true, ['sign', 'verify'])) as CryptoKeyPair;
  const key = Array.from(new Uint8Array(await crypto.subtle.exportKey('raw', pair.publicKey)), (octet) => octet.toString(16).padStart(2, '0')).join('');
  const sign = async (seq: number, kind: number, body: unknown): Promise<Uint8Array<ArrayBuffer>> => {
    const frame = encode([dive, seq, kind, 15 * Math.max(0, seq - 1), body, new Uint8Array(320)]).slice();
    const start = padStart(frame) as number;
    const told = joined([new TextEncoder().encode('offing record 1\0public\0'), frame.subarray(0, start)]);
    frame.set(new Uint8Array(await crypto.subtle.sign({ name: 'Ed25519' }, pair.privateKey, told)), start);
    return frame;
  };
  const rest = Array.from({ length: ticks }, (_, i) => sign(i + 1, 1, [SILENT, SILENT]));
  return Promise.all([sign(0, 0, { ...HEADER, key }), ...rest]);
}
