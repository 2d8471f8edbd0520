import { describe, expect, test } from 'vitest';
import { followersOf, watchFollowers } from '../src/followers';
import { FakePorts, settled } from './ports';

async function watched(answer?: unknown) {
  const ports = new FakePorts();
  if (answer !== undefined) ports.json('followers.json', answer);
  const told: (number | null)[] = [];
  const due = { is: true };
  const end = watchFollowers(ports, () => due.is, (followers) => told.push(followers));
  await settled();
  return { ports, told, due, end };
}

describe('the number of followers', () => {
  test('is read from the answer of the site, and from nothing else', () => {
    const read = (text: string) => followersOf(new TextEncoder().encode(text));
    expect(['{"followers": 12}', '{"followers": 0, "more": []}'].map(read)).toEqual([12, 0]);
    expect(['{"followers": -1}', '{"followers": 1.5}', '{"followers": "12"}', '{}', 'null', '12', '<html>', ''].map(read)).toEqual(Array(8).fill(null));
    expect(followersOf(new Uint8Array([0xff, 0xfe]))).toBeNull();
  });

  test('is asked for at the start and once a minute', async () => {
    const { ports, told } = await watched({ followers: 3 });
    expect(told).toEqual([3]);
    ports.json('followers.json', { followers: 4 });
    await ports.pass(59);
    expect(told).toEqual([3]);
    await ports.pass(61);
    expect([told, ports.asked.length]).toEqual([[3, 4, 4], 3]);
  });

  test('is not asked for while nobody looks or nothing is live, and not shown', async () => {
    const { ports, told, due } = await watched({ followers: 3 });
    due.is = false;
    await ports.pass(180);
    expect([told.at(-1), ports.asked.length]).toEqual([null, 1]);
    due.is = true;
    await ports.pass(60);
    expect([told.at(-1), ports.asked.length]).toEqual([3, 2]);
  });

  test.each([[undefined], [{ followers: 'many' }]])('that a site does not tell is not asked for again: %j', async (answer) => {
    const { ports, told } = await watched(answer);
    await ports.pass(600);
    expect([told, ports.asked.length, ports.waiting]).toEqual([[null], 1, 0]);
  });

  test('survives a network that is away for a while', async () => {
    const { ports, told } = await watched({ followers: 3 });
    ports.isReachable = false;
    await ports.pass(60);
    ports.isReachable = true;
    await ports.pass(60);
    expect(told).toEqual([3, null, 3]);
  });

  test('is forgotten once nobody wants it', async () => {
    const { ports, end } = await watched({ followers: 3 });
    end();
    await ports.pass(600);
    expect([ports.asked.length, ports.waiting]).toEqual([1, 0]);
  });
});
