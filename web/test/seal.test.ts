import { describe, expect, test } from 'vitest';
import ed25519 from '../../tests/vectors/ed25519.json';
import { keyOf, padStart, Seal } from '../src/seal';
import { frame } from './frames';
import { altered, bytesOf, DIVE, EVERY_KIND, FUNDERS, KEY, PROGRAMMES, STRANGER, STRANGERS_KEY } from './signed';

const seal = async (key = KEY, audience = 'public'): Promise<Seal> => (await Seal.of(crypto.subtle, key, audience)) as Seal;

describe('the engine', () => {
  test.each(ed25519.vectors.map((vector) => [vector.name, vector] as const))('checks what RFC 8032, section 7.1, says: %s', async (_, { key, message, signature }) => {
    const imported = await crypto.subtle.importKey('raw', bytesOf(key), { name: 'Ed25519' }, false, ['verify']);
    const check = (one: string, of: string) => crypto.subtle.verify({ name: 'Ed25519' }, imported, bytesOf(one), bytesOf(of));
    expect(await check(signature, message)).toBe(true);
    expect(await check(signature, `${message}00`)).toBe(false);
    expect(await check(`${signature.slice(0, -2)}ff`, message)).toBe(false);
  });
});

describe('a seal', () => {
  test('is on every kind of frame that the relay signed', async () => {
    const ours = await seal();
    for (const bytes of [...EVERY_KIND, ...DIVE, ...PROGRAMMES]) expect(await ours.isOn(bytes)).toBe(true);
  });

  test('is broken by every byte that is altered, its own and those behind it too, and never by an exception', async () => {
    const ours = await seal();
    const bytes = DIVE[3] as Uint8Array<ArrayBuffer>;
    const found = await Promise.all(Array.from(bytes, (_, at) => ours.isOn(altered(bytes, at, at % 8))));
    expect(found.filter(Boolean)).toEqual([]);
  });

  test('is broken by bytes that are left out or put behind', async () => {
    const ours = await seal();
    const bytes = DIVE[2] as Uint8Array<ArrayBuffer>;
    for (const length of [0, 1, bytes.length - 1]) expect(await ours.isOn(bytes.subarray(0, length))).toBe(false);
    const longer = new Uint8Array(bytes.length + 1);
    longer.set(bytes);
    expect(await ours.isOn(longer)).toBe(false);
  });

  test('is that of one key and one audience', async () => {
    const [ours, theirs, funders] = [await seal(), await seal(STRANGERS_KEY), await seal(KEY, 'funders')];
    const [own, other, strangers] = [DIVE[1], FUNDERS[1], STRANGER[1]] as [Uint8Array, Uint8Array, Uint8Array];
    expect([await ours.isOn(own), await ours.isOn(other), await ours.isOn(strangers)]).toEqual([true, false, false]);
    expect([await theirs.isOn(own), await theirs.isOn(strangers)]).toEqual([false, true]);
    expect([await funders.isOn(own), await funders.isOn(other)]).toEqual([false, true]);
  });

  test('is on no frame whose pad is not the one that the ship makes', async () => {
    const ours = await seal();
    const unsigned = frame(1, 1, 3, 0, null);
    expect([padStart(unsigned), await ours.isOn(unsigned)]).toEqual([null, false]);
    expect([padStart(new Uint8Array(0)), padStart(Uint8Array.of(0x96)), padStart(Uint8Array.of(0x96, 1, 1, 1, 1, 1, 0xc5))]).toEqual([null, null, null]);
  });

  test('cannot be had in a browser without Ed25519', async () => {
    const old = { importKey: () => Promise.reject(new DOMException('no', 'NotSupportedError')), verify: () => Promise.resolve(true) };
    expect(await Seal.of(old, KEY, 'public')).toBeNull();
  });
});

test('a key is 64 small hexadecimal digits, and nothing else is one', () => {
  expect(keyOf(KEY)).toBe(KEY);
  for (const other of [KEY.slice(2), `${KEY}00`, KEY.replace('3', 'g').toUpperCase(), '', null, undefined, 7]) expect(keyOf(other)).toBeNull();
});
