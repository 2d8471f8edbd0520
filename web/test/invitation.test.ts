import { describe, expect, test } from 'vitest';
import { invitationOf, tokenOf } from '../src/invitation';
import { hashOf, momentOf } from '../src/moment';
import { liveSource, type Listener } from '../src/source';
import type { Invitation } from '../src/invitation';
import { diveFrames, HEADER, joined, SILENT } from './frames';
import { FakePorts, means, settled } from './ports';

const TOKEN = `0000ada0.${'A'.repeat(43)}`;
const bytes = (value: unknown): Uint8Array => new TextEncoder().encode(JSON.stringify(value));

describe('a guest’s link', () => {
  test('holds a token, alone or beside a moment, and the moment without it is a link for others', () => {
    expect(tokenOf(`#guest=${TOKEN}`)).toBe(TOKEN);
    expect(tokenOf(`#dive=2&at=15&guest=${TOKEN}`)).toBe(TOKEN);
    expect(hashOf(momentOf(`#guest=${TOKEN}&dive=2&at=15`))).toBe('#dive=2&at=15');
  });

  test.each(['', '#', '#guest=', '#guest=abc', '#guest=a.', '#guest=.b', '#guest=a.b c', '#guest=a.b.c', '#guest=a%0d%0aX.b', `#guest=a.${'b'.repeat(129)}`, '#dive=2'])('that is mangled holds none: %s', (hash) => {
    expect(tokenOf(hash)).toBeNull();
  });
});

test('what the site says of a guest is read, and nothing else is taken for it', () => {
  expect(invitationOf(bytes({ format: 1, audience: 'family', until: '2026-12-31', more: 1 }))).toEqual({ audience: 'family', until: '2026-12-31' });
  expect(invitationOf(bytes({ format: 1, audience: 'family', until: null }))).toEqual({ audience: 'family', until: null });
  for (const other of [{ format: 2, audience: 'family' }, { format: 1 }, { format: 1, audience: 7 }, null, 'x']) expect(invitationOf(bytes(other))).toBeNull();
  expect(invitationOf(Uint8Array.of(255))).toBeNull();
});

describe('the live source of a guest', () => {
  const FAMILY = { format: 1, audience: 'family', until: null };
  const dives = (audience: string, records: number) => ({ format: 1, expedition: 'The search', audience, dives: [{ dive: 1, closed: false, records, recording: 'r' }] });

  function arrive(prepare: (ports: FakePorts) => void) {
    const ports = new FakePorts();
    const [links, guests, seqs, resets]: [string[], Invitation[], number[], number[]] = [[], [], [], []];
    const listener: Listener = {
      dives: () => {}, integrity: () => {}, proof: () => {}, withdraw: () => {}, outOfTurn: () => {},
      reset: () => resets.push(1), records: (records) => (seqs.push(...records.map(({ seq }) => seq)), true),
      invitation: (invitation) => guests.push(invitation), connection: ({ is }) => links.push(is),
    };
    prepare(ports);
    liveSource(ports, means({ isGuest: true }), listener).start();
    return { ports, links, guests, seqs, resets };
  }

  const welcoming = (ports: FakePorts): void => {
    ports.json('guest.json', FAMILY);
    ports.json('recordings/family/dives.json', dives('family', 2));
    ports.files.set('r', joined(diveFrames(1, [[SILENT, SILENT]], { ...HEADER, audience: 'family' })));
  };

  test('asks who it is, and follows what it was invited to; asking counts as a visit, so it asks once', async () => {
    const { ports, guests, seqs } = arrive(welcoming);
    await settled();
    expect([guests, seqs, ports.socket.path]).toEqual([[{ audience: 'family', until: null }], [0, 1], 'live?audience=family&dive=1&after=1']);
    expect(ports.asked).not.toContain('dives.json');
    ports.socket.events.opened();
    ports.socket.drop(1006);
    await ports.pass(5);
    expect(ports.asked.filter((path) => path === 'guest.json').length).toBe(1);
  });

  test('that the site doesn’t know is told so, asks for nothing else, and is let in once the site has heard of it', async () => {
    const { ports, links, seqs } = arrive(() => {});
    await ports.pass(300);
    expect([[...new Set(links)], [...new Set(ports.asked)], ports.sockets]).toEqual([['connecting', 'not invited'], ['guest.json'], []]);
    expect(ports.asked.length).toBeLessThanOrEqual(6);
    welcoming(ports);
    await ports.pass(61);
    expect([seqs, ports.sockets.length]).toEqual([[0, 1], 1]);
  });

  test('that the site forgets for a while keeps what it showed, and goes on', async () => {
    const { ports, links, resets } = arrive(welcoming);
    await settled();
    ports.socket.events.opened();
    const list = ports.files.get('recordings/family/dives.json') as Uint8Array<ArrayBuffer>;
    ports.files.delete('recordings/family/dives.json');
    ports.socket.drop(1006);
    await ports.pass(5);
    expect([links.at(-1), resets]).toEqual(['not invited', []]);
    ports.files.set('recordings/family/dives.json', list);
    await ports.pass(61);
    expect(ports.sockets.length).toBe(2);
  });

  test('tries again while nobody answers, or what answers is no site', async () => {
    const { ports, links } = arrive((ports) => ports.json('guest.json', { format: 9 }));
    await settled();
    expect(links).toEqual(['connecting', 'disconnected']);
    welcoming(ports);
    await ports.pass(5);
    expect(ports.sockets.length).toBe(1);
  });

  test('that is not invited any more forgets what it showed, and does not come back', async () => {
    const { ports, links, resets } = arrive(welcoming);
    await settled();
    ports.socket.events.opened();
    ports.socket.drop(4005);
    await ports.pass(600);
    expect([links.at(-1), resets.length, ports.sockets.length]).toEqual(['invitation ended', 1, 1]);
  });
});
