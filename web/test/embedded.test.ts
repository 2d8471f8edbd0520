import { describe, expect, test } from 'vitest';
import { decodeDives, Refused } from '../src/decode';
import { embeddedPorts, noteAt, readEmbedded } from '../src/embedded';
import type { Ports } from '../src/transport';
import { closed, diveFrames, joined, report } from './frames';

const base64 = (bytes: Uint8Array): string => btoa(String.fromCharCode(...bytes));
const FRAMES = diveFrames(3, [[report(900), report(null)], [report(910), report(null)]]);
const NOTES = JSON.stringify({ notes: [{ at_s: 15, text: 'later' }, { at_s: 0, text: 'first' }, { at_s: 'x', text: 'no' }, null] });

function world() {
  const closes: number[] = [];
  const never = (): never => {
    throw new Error('the world was asked');
  };
  const ports: Ports = { read: never, open: never, after: (_, run) => (run(), () => {}), now_s: () => 0, chance: () => 0 };
  return { ports, closes };
}

describe('a briefing', () => {
  test('answers what the page fetches from what lies in it, and asks nobody', async () => {
    const bytes = await closed(FRAMES);
    const held = readEmbedded(base64(bytes), NOTES);
    expect(held).not.toBeNull();
    const ports = embeddedPorts(held!, world().ports);
    const list = decodeDives((await ports.read('dives.json')).bytes);
    expect(list).not.toBeInstanceOf(Refused);
    expect(list).toMatchObject({ audience: 'public', dives: [{ dive: 3, closed: true, records: 3, recording: 'recording' }] });
    expect((await ports.read('recording')).bytes).toEqual(bytes);
    expect((await ports.read('followers.json')).status).toBe(404);
    expect((await ports.read('live?audience=public')).status).toBe(404);
  });

  test('has no socket: one that is opened closes', async () => {
    const held = readEmbedded(base64(joined(FRAMES)), NOTES);
    const { ports, closes } = world();
    embeddedPorts(held!, ports).open('live', { opened: () => {}, frame: () => {}, closed: (code) => closes.push(code) });
    expect(closes).toEqual([1006]);
  });

  test('has the presenter say the latest of their notes that has begun', () => {
    const held = readEmbedded(base64(joined(FRAMES)), NOTES)!;
    expect([-1, 0, 14.9, 15, 99].map((at_s) => noteAt(held, at_s))).toEqual([null, 'first', 'first', 'later', 'later']);
  });

  test('is none where something is missing or no such thing', () => {
    expect(readEmbedded(null, NOTES)).toBeNull();
    expect(readEmbedded('', null)).toBeNull();
    expect(readEmbedded('%%%', NOTES)).toBeNull();
    expect(readEmbedded('', '{')).toBeNull();
    expect(readEmbedded('', '{}')).toBeNull();
    expect(embeddedPorts(readEmbedded('', '{"notes": []}')!, world().ports)).toBeDefined();
  });
});
