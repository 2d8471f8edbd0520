import { expect, test } from 'vitest';
import { Pictures } from '../src/pictures';
import { jpeg } from './frames';

/** Addresses as a browser makes them, each written down. */
function book() {
  const out = new Set<string>();
  let made = 0;
  const giveBack = (address: string): void => {
    if (!out.delete(address)) throw new Error(`${address} is not out`);
  };
  const make = (): string => {
    const address = `blob:${(made += 1)}`;
    out.add(address);
    return address;
  };
  return { out, made: () => made, addresses: { make, giveBack } };
}

const still = () => ({ width: 64, height: 48, jpeg: jpeg(64, 48) });

test('a still has one address however often it is shown, and another still has another', () => {
  const { out, addresses } = book();
  const pictures = new Pictures(addresses);
  const [one, other] = [still(), still()];
  expect([pictures.of(one), pictures.of(other), pictures.of(one)]).toEqual(['blob:1', 'blob:2', 'blob:1']);
  expect(out.size).toBe(2);
});

test('every address is given back, once', () => {
  const { out, made, addresses } = book();
  const pictures = new Pictures(addresses);
  const one = still();
  pictures.of(one);
  pictures.of(still());
  pictures.giveBack();
  pictures.giveBack();
  expect(out.size).toBe(0);
  expect(pictures.of(one)).toBe('blob:3');
  expect(made()).toBe(3);
});
