import { describe, expect, test } from 'vitest';
import type { DiveList, Released } from '../src/decode';
import { liveSource, recordingSource, type Listener } from '../src/source';
import type { Invitation } from '../src/invitation';
import type { Connection } from '../src/state';
import type { Proof } from '../src/trust';
import { closed, diveFrames, frame, HEADER, joined, report, SILENT } from './frames';
import { digest, FakePorts, means, settled } from './ports';

const TICKS = [[report(0), SILENT], [report(10), SILENT], [report(20), SILENT]];

class Heard implements Listener {
  lists: DiveList[] = [];
  seqs: string[] = [];
  integrities: string[] = [];
  links: Connection['is'][] = [];
  proofs: string[] = [];
  withdrawn: number[] = [];
  oddRecords = 0;
  guests: Invitation[] = [];
  resets = 0;
  willTake = true;
  dives(list: DiveList): void {
    this.lists.push(list);
  }
  records(records: readonly Released[]): boolean {
    if (this.willTake) this.seqs.push(...records.map(({ dive, seq }) => `${dive}/${seq}`));
    return this.willTake;
  }
  integrity(dive: number, integrity: string): void {
    this.integrities.push(`${dive} ${integrity}`);
  }
  proof(dive: number, proof: Proof): void {
    this.proofs.push(`${dive} ${proof.is}${proof.is === 'altered' ? ` ${proof.seq} ${proof.why}` : ''}`);
  }
  withdraw(dive: number): void {
    this.withdrawn.push(dive);
  }
  outOfTurn(): void {
    this.oddRecords += 1;
  }
  invitation(invitation: Invitation): void {
    this.guests.push(invitation);
  }
  connection({ is }: Connection): void {
    this.links.push(is);
  }
  reset(): void {
    this.resets += 1;
  }
}

/** Put dives on the site: name the frames of each, and whether it is over. */
async function site(ports: FakePorts, dives: Readonly<Record<number, { frames: readonly Uint8Array[]; over?: boolean }>>): Promise<void> {
  const entries = Object.entries(dives).map(([dive, { frames, over = false }]) => ({
    dive: Number(dive), closed: over, records: frames.length, recording: `recordings/public/dive-${dive}.recording`,
  }));
  ports.json('dives.json', { format: 1, expedition: 'The search', audience: 'public', dives: entries });
  for (const [dive, { frames, over }] of Object.entries(dives)) {
    ports.files.set(`recordings/public/dive-${dive}.recording`, over ? await closed(frames) : joined(frames));
  }
}

async function live(dives: Parameters<typeof site>[1] = {}) {
  const ports = new FakePorts();
  const heard = new Heard();
  await site(ports, dives);
  const source = liveSource(ports, means({ digest }), heard);
  source.start();
  await settled();
  return { ports, heard, source };
}

describe('the live source', () => {
  test('reads the newest dive and resumes behind it', async () => {
    const { ports, heard } = await live({ 1: { frames: diveFrames(1, TICKS), over: true }, 2: { frames: diveFrames(2, TICKS) } });
    expect(heard.seqs).toEqual(['2/0', '2/1', '2/2', '2/3']);
    expect(ports.socket.path).toBe('live?audience=public&dive=2&after=3');
  });

  test('follows another audience where one is asked for, by its own list and its own tail', async () => {
    const ports = new FakePorts();
    await site(ports, { 1: { frames: diveFrames(1, TICKS) } });
    const entries = [{ dive: 3, closed: false, records: 4, recording: 'recordings/funders/dive-003.recording' }];
    ports.json('recordings/funders/dives.json', { format: 1, expedition: 'The search', audience: 'funders', dives: entries });
    ports.files.set('recordings/funders/dive-003.recording', joined(diveFrames(3, TICKS)));
    const heard = new Heard();
    liveSource(ports, means({ digest }), heard, 'funders').start();
    await settled();
    expect(heard.seqs).toEqual(['3/0', '3/1', '3/2', '3/3']);
    expect(ports.socket.path).toBe('live?audience=funders&dive=3&after=3');
    expect(ports.asked).not.toContain('dives.json');
  });

  test.each(['family', '..', '../public', 'a/b', '', 'Funders', '%2e%2e'])('says that there is no audience of that name, and asks no more: %s', async (name) => {
    const ports = new FakePorts();
    await site(ports, { 1: { frames: diveFrames(1, TICKS) } });
    const heard = new Heard();
    liveSource(ports, means({ digest }), heard, name).start();
    await ports.pass(600);
    expect([heard.links, heard.lists, ports.sockets]).toEqual([['connecting', 'no such audience'], [], []]);
    expect(ports.asked.filter((path) => !path.startsWith('recordings/'))).toEqual([]);
  });

  test('tries again where the list of an audience cannot be reached', async () => {
    const ports = new FakePorts();
    ports.isReachable = false;
    const heard = new Heard();
    liveSource(ports, means({ digest }), heard, 'funders').start();
    await settled();
    expect(heard.links).toEqual(['connecting', 'disconnected']);
  });

  test('before any dive asks for whatever comes', async () => {
    const { ports, heard } = await live();
    expect(ports.socket.path).toBe('live?audience=public');
    ports.socket.events.opened();
    for (const bytes of diveFrames(1, TICKS)) ports.socket.events.frame(bytes);
    expect(heard.seqs).toEqual(['1/0', '1/1', '1/2', '1/3']);
  });

  test('cuts the torn tail of a dive that goes on, and gets that record from the socket', async () => {
    const frames = diveFrames(1, TICKS);
    const { ports, heard } = await live({ 1: { frames } });
    expect(heard.seqs.length).toBe(4);
    const torn = await live();
    torn.ports.files.set('x', joined(frames).subarray(0, joined(frames).length - 5).slice());
    torn.ports.json('dives.json', { format: 1, expedition: 'The search', audience: 'public', dives: [{ dive: 1, closed: false, records: 4, recording: 'x' }] });
    torn.ports.socket.drop(4000);
    await torn.ports.pass(2);
    expect(torn.ports.socket.path).toBe('live?audience=public&dive=1&after=2');
    torn.ports.socket.events.opened();
    torn.ports.socket.events.frame(frames[3] as Uint8Array<ArrayBuffer>);
    expect(torn.heard.seqs).toEqual(['1/0', '1/1', '1/2', '1/3']);
    expect(ports.sockets.length).toBe(1);
  });

  test('after a gap gets what it missed, each record once', async () => {
    const frames = diveFrames(1, [...TICKS, ...TICKS]);
    const { ports, heard } = await live({ 1: { frames: frames.slice(0, 3) } });
    await site(ports, { 1: { frames } });
    ports.socket.events.opened();
    heard.willTake = false;
    ports.socket.events.frame(frames[5] as Uint8Array<ArrayBuffer>);
    heard.willTake = true;
    await ports.pass(2);
    expect(heard.seqs).toEqual(frames.map((_, seq) => `1/${seq}`));
  });

  test('lets a record pass that it already has', async () => {
    const frames = diveFrames(1, TICKS);
    const { ports, heard } = await live({ 1: { frames } });
    ports.socket.events.opened();
    ports.socket.events.frame(frames[2] as Uint8Array<ArrayBuffer>);
    expect(heard.seqs.length).toBe(4);
    expect(ports.sockets.length).toBe(1);
  });

  test('reconnects without fetching the recording while nothing was missed', async () => {
    const { ports } = await live({ 1: { frames: diveFrames(1, TICKS) } });
    ports.socket.events.opened();
    ports.socket.drop(1006);
    await ports.pass(3);
    expect(ports.asked.filter((path) => path.endsWith('.recording')).length).toBe(1);
    expect(ports.socket.path).toBe('live?audience=public&dive=1&after=3');
  });

  test('goes on to a later dive on the same socket', async () => {
    const { ports, heard } = await live({ 1: { frames: [...diveFrames(1, TICKS), frame(1, 4, 3, 45, null)], over: true } });
    ports.socket.events.opened();
    for (const bytes of diveFrames(2, TICKS)) ports.socket.events.frame(bytes);
    expect(heard.seqs.slice(-4)).toEqual(['2/0', '2/1', '2/2', '2/3']);
    expect(heard.integrities).toEqual(['1 verified']);
  });

  test('delivers nothing of a recording that is damaged', async () => {
    const { ports, heard, source } = await live();
    await site(ports, { 1: { frames: diveFrames(1, TICKS), over: true } });
    const bytes = ports.files.get('recordings/public/dive-1.recording') as Uint8Array;
    bytes[20] = (bytes[20] as number) ^ 1;
    ports.socket.drop(4000);
    await ports.pass(2);
    expect([heard.integrities, heard.seqs]).toEqual([['1 damaged'], []]);
    source.stop();
  });

  test('forgets what it holds when the relay begins anew', async () => {
    const { ports, heard } = await live({ 7: { frames: diveFrames(7, TICKS) } });
    await site(ports, { 1: { frames: diveFrames(1, TICKS) } });
    ports.socket.events.opened();
    ports.socket.drop(1006);
    await ports.pass(3);
    expect(heard.resets).toBe(1);
    expect(heard.seqs.slice(-4)).toEqual(['1/0', '1/1', '1/2', '1/3']);
  });

  test('says that it is disconnected while the list cannot be had', async () => {
    const { ports, heard } = await live();
    ports.isReachable = false;
    ports.socket.events.opened();
    ports.socket.drop(1006);
    await ports.pass(20);
    expect(heard.links.at(-1)).toBe('disconnected');
  });

  test('that meets a later version says so', async () => {
    const { heard } = await live({ 1: { frames: [frame(1, 0, 0, 0, { ...HEADER, version: 2 })] } });
    expect(heard.links.at(-1)).toBe('outdated');
  });
});

describe('a recording source', () => {
  const entry = { dive: 1, closed: true, records: 4, recording: 'recordings/public/dive-1.recording' };

  async function replay(change: (bytes: Uint8Array<ArrayBuffer>) => Uint8Array<ArrayBuffer> = (bytes) => bytes) {
    const ports = new FakePorts();
    const heard = new Heard();
    ports.files.set(entry.recording, change(await closed([...diveFrames(1, TICKS), frame(1, 4, 3, 45, null)])));
    const source = recordingSource(ports, entry, 'public', means({ digest }), heard);
    source.start();
    await settled();
    return { ports, heard, source };
  }

  test('delivers what the live source would, and says that it is verified', async () => {
    const { heard } = await replay();
    expect(heard.seqs).toEqual(['1/0', '1/1', '1/2', '1/3', '1/4']);
    expect(heard.integrities).toEqual(['1 verified']);
  });

  test('says that the end is missing where the footer agrees, but no record ends the dive', async () => {
    const { ports, heard, source } = await replay();
    ports.files.set(entry.recording, await closed(diveFrames(1, TICKS)));
    source.retry();
    await settled();
    expect(heard.integrities).toEqual(['1 verified', '1 incomplete']);
  });

  test('shows what there is of one whose end is missing, and says so', async () => {
    const { heard } = await replay((bytes) => bytes.slice(0, -100));
    expect(heard.integrities).toEqual(['1 incomplete']);
    expect(heard.seqs.length).toBeGreaterThan(1);
  });

  test('tries again, ever later, while it cannot be had', async () => {
    const { ports, heard, source } = await replay();
    ports.files.clear();
    source.retry();
    await ports.pass(8);
    expect(heard.integrities.filter((told) => told === '1 unreachable').length).toBeGreaterThan(2);
    expect(ports.asked.length).toBeLessThan(8);
    source.stop();
    expect(ports.waiting).toBe(0);
  });
});
