/**
 * The ship's signature on a frame: Ed25519 (RFC 8032), checked by the browser's own engine (W3C Web Cryptography).
 *
 * Rules: the engine is passed in; what is no frame of the ship's is not signed, never an exception. A frame ends with its
 * pad (MessagePack bin 16); the signature is the pad's first 64 bytes, and everything behind it is zero. What is signed
 * is `offing record 1`, a zero, the audience, a zero, and the frame up to its pad's content.
 */

import { SIGNATURE_OCTETS } from './decode';
import { extent } from './extent';

const KEY_OCTETS = 32;
const ARRAY_OF_SIX = 0x96;
const BIN_16 = 0xc5;

/** What the browser offers on a page that is served securely. */
export type Engine = Pick<SubtleCrypto, 'importKey' | 'verify'>;

/** The public key in hexadecimal digits, small ones, as the ship writes it; null if it is none. */
export const keyOf = (text: unknown): string | null => (typeof text === 'string' && /^[0-9a-f]{64}$/.test(text) ? text : null);

/** Return where the content of a frame's pad begins; null if the frame has none that could hold a signature. */
export function padStart(frame: Uint8Array): number | null {
  if (frame[0] !== ARRAY_OF_SIX) return null;
  let at = 1;
  for (let part = 0; part < 5; part += 1) {
    const end = extent(frame, at);
    if (typeof end === 'string') return null;
    at = end;
  }
  const length = frame.length - at - 3;
  if (frame[at] !== BIN_16 || length < SIGNATURE_OCTETS || length !== (frame[at + 1] as number) * 256 + (frame[at + 2] as number)) return null;
  return at + 3;
}

/** One key, and the audience that the frames must have been signed for. */
export class Seal {
  private readonly before: Uint8Array;

  private constructor(private readonly engine: Engine, private readonly key: CryptoKey, audience: string) {
    this.before = new TextEncoder().encode(`offing record 1\0${audience}\0`);
  }

  /** Make one; null where this browser can't check such signatures. `key` is one of `keyOf`. */
  static async of(engine: Engine, key: string, audience: string): Promise<Seal | null> {
    const octets = Uint8Array.from({ length: KEY_OCTETS }, (_, i) => parseInt(key.slice(2 * i, 2 * i + 2), 16));
    try {
      return new Seal(engine, await engine.importKey('raw', octets, { name: 'Ed25519' }, false, ['verify']), audience);
    } catch {
      return null;
    }
  }

  /** Whether a frame is just as the ship signed it. */
  async isOn(frame: Uint8Array): Promise<boolean> {
    const start = padStart(frame);
    if (start === null || !isEmpty(frame, start + SIGNATURE_OCTETS)) return false;
    const told = new Uint8Array(this.before.length + start);
    told.set(this.before);
    told.set(frame.subarray(0, start), this.before.length);
    const signature = frame.slice(start, start + SIGNATURE_OCTETS);
    return this.engine.verify({ name: 'Ed25519' }, this.key, signature, told).catch(() => false);
  }
}

/** Whether there is nothing but zeros from `from` on. */
function isEmpty(bytes: Uint8Array, from: number): boolean {
  for (let i = from; i < bytes.length; i += 1) if (bytes[i] !== 0) return false;
  return true;
}
