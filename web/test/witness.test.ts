import { describe, expect, test } from 'vitest';
import type { Released } from '../src/decode';
import { liveSource, recordingSource, type Listener } from '../src/source';
import type { Engine } from '../src/seal';
import { brieflyTrusting, type Proof } from '../src/trust';
import { closed, diveFrames, joined, SILENT } from './frames';
import { digest, FakePorts, means, patientEngine, settled } from './ports';
import { altered, DIVE, FUNDERS, illSigned, inTick, KEY, longDive, NEXT_DIVE, STRANGER, STRANGERS_KEY, until } from './signed';

/** What a page would show: the records of each dive, as they replace or follow each other. */
class Shown implements Listener {
  dives_ = new Map<number, number[]>();
  proofs = new Map<number, Proof>();
  /** Every record that was ever shown, so that nothing passes unseen for a moment. */
  ever: string[] = [];
  links: string[] = [];
  integrities: string[] = [];
  oddRecords = 0;
  dives(): void {}
  records(records: readonly Released[]): boolean {
    for (const { dive, seq, kind } of records) {
      if (kind !== 'dive' && this.dives_.get(dive)?.length !== seq) return false;
      this.dives_.set(dive, kind === 'dive' ? [0] : [...(this.dives_.get(dive) ?? []), seq]);
      this.ever.push(`${dive}/${seq}`);
    }
    return true;
  }
  integrity(dive: number, integrity: string): void {
    this.integrities.push(`${dive} ${integrity}`);
  }
  proof(dive: number, proof: Proof): void {
    this.proofs.set(dive, proof);
  }
  withdraw(dive: number): void {
    this.dives_.delete(dive);
  }
  outOfTurn(): void {
    this.oddRecords += 1;
  }
  invitation(): void {}
  connection({ is }: { is: string }): void {
    this.links.push(is);
  }
  reset(): void {
    this.dives_.clear();
  }
  count = (dive: number): number => this.dives_.get(dive)?.length ?? 0;
}

interface Site {
  readonly frames: readonly Uint8Array[];
  readonly over?: boolean;
  readonly linked?: string;
  readonly kept?: string;
  readonly engine?: Engine | null;
}

/** A shore that gives out these frames as dive 1, and somebody who follows it. */
async function follow({ frames, over = false, linked, kept, engine = crypto.subtle }: Site) {
  const ports = new FakePorts();
  const shown = new Shown();
  const trust = brieflyTrusting(linked ?? null);
  if (kept !== undefined) trust.keep(kept);
  const serve = async (served: readonly Uint8Array[], isOver = false): Promise<void> => {
    ports.json('dives.json', { format: 1, expedition: 'The search', audience: 'public', dives: [{ dive: 1, closed: isOver, records: served.length, recording: 'r' }] });
    ports.files.set('r', isOver ? await closed(served) : joined(served));
  };
  await serve(frames, over);
  const source = liveSource(ports, means({ digest, proving: { engine, trust } }), shown);
  source.start();
  await settled();
  const proof = () => shown.proofs.get(1);
  /** Let background checks go on to their end. */
  const checked = async (is: Proof['is']): Promise<void> => {
    for (let turn = 0; turn < 3_000 && proof()?.is !== is; turn += 1) await ports.pass(0.01);
    expect(proof()?.is).toBe(is);
  };
  return { ports, shown, source, trust, proof, checked, serve };
}

/** The same, with the live tail open after the first `held` records. */
async function live(held: number, site: Partial<Site> = {}) {
  const following = await follow({ frames: DIVE.slice(0, held), ...site });
  if (site.engine === undefined) await following.checked('signed');
  following.ports.socket.events.opened();
  const send = (frame: Uint8Array): void => following.ports.socket.events.frame(frame.slice());
  return { ...following, send };
}

const tampered = (seq: number): Uint8Array[] => DIVE.map((frame, i) => (i === seq ? altered(frame, inTick(frame)) : frame));

describe('a follower of an honest shore', () => {
  test('is told that the ship signed what is shown, and keeps her key', async () => {
    const { shown, trust, checked, proof } = await follow({ frames: DIVE, over: true });
    expect(shown.count(1)).toBe(DIVE.length);
    await checked('signed');
    expect([proof(), trust.kept()]).toEqual([{ is: 'signed', basis: 'first', key: KEY }, KEY]);
    expect([shown.oddRecords, shown.links.at(-1)]).toEqual([0, 'connecting']);
  });

  test('sees every live record in its order, each once checked, over the end of a dive and the begin of the next', async () => {
    const { shown, send } = await live(2);
    for (const frame of [...DIVE.slice(2), ...NEXT_DIVE]) send(frame);
    await until(() => shown.count(2) === NEXT_DIVE.length);
    expect([shown.count(1), shown.oddRecords]).toEqual([DIVE.length, 0]);
    expect(shown.proofs.get(2)).toEqual({ is: 'signed', basis: 'kept', key: KEY });
  });

  test('with the ship’s key in the link is told that it agrees', async () => {
    const { checked, proof } = await follow({ frames: DIVE, linked: KEY });
    await checked('signed');
    expect(proof()).toMatchObject({ basis: 'link' });
  });

  test('on a page that is not served securely sees the same, and is told that nothing could be checked', async () => {
    const { shown, proof } = await live(3, { engine: null });
    expect([shown.count(1), proof()]).toEqual([3, { is: 'unchecked', why: 'insecure', key: KEY }]);
  });

  test('with a browser that knows no such signatures, too', async () => {
    const old = { ...crypto.subtle, importKey: () => Promise.reject(new DOMException('no', 'NotSupportedError')) } as unknown as SubtleCrypto;
    const { shown, send, proof, checked } = await live(3, { engine: old });
    await checked('unchecked');
    send(DIVE[3] as Uint8Array);
    await until(() => shown.count(1) === 4);
    expect(proof()).toEqual({ is: 'unchecked', why: 'browser', key: KEY });
  });
});

describe('a shore that lies', () => {
  test('and alters a live record never has it shown: what is shown ends before it, and nothing later is taken', async () => {
    const { ports, shown, send, proof } = await live(2);
    send(tampered(3)[2] as Uint8Array);
    send(tampered(3)[3] as Uint8Array);
    send(DIVE[4] as Uint8Array);
    await until(() => proof()?.is === 'altered');
    await settled();
    expect(proof()).toEqual({ is: 'altered', seq: 3, why: 'signature' });
    expect([shown.dives_.get(1), shown.links.at(-1), ports.socket.isClosed]).toEqual([[0, 1, 2], 'altered', true]);
    expect(shown.ever).not.toContain('1/3');
    await ports.pass(600);
    expect(ports.sockets.length).toBe(1);
  });

  test('is asked again when the follower wants it, and is believed if it tells the truth', async () => {
    const { shown, source, send, serve, proof, checked } = await live(2);
    send(tampered(2)[2] as Uint8Array);
    await until(() => proof()?.is === 'altered');
    await serve(DIVE);
    source.retry();
    await checked('signed');
    expect([shown.count(1), shown.links.at(-1)]).toEqual([DIVE.length, 'altered']);
  });

  test.each([[0], [1], [3], [5]])('and alters record %i of a dive that goes on has it taken back', async (seq) => {
    const frames = DIVE.map((frame, i) => (i === seq ? illSigned(frame) : frame));
    const { shown, checked, proof } = await follow({ frames });
    await checked('altered');
    expect(proof()).toEqual({ is: 'altered', seq, why: 'signature' });
    expect([shown.count(1), shown.links.at(-1)]).toEqual([seq, 'altered']);
  });

  test('and alters a record of a recording, with a footer that agrees, is found out', async () => {
    const { shown, checked, proof } = await follow({ frames: tampered(4), over: true });
    await checked('altered');
    expect([proof(), shown.count(1), shown.integrities]).toEqual([{ is: 'altered', seq: 4, why: 'signature' }, 4, ['1 verified']]);
  });

  test('and leaves the old footer has nothing shown from the altered record on, not for a moment', async () => {
    const { ports, shown, source, checked, proof } = await follow({ frames: [] });
    const honest = await closed(DIVE);
    honest.set(tampered(4)[4] as Uint8Array, joined(DIVE.slice(0, 4)).length);
    ports.json('dives.json', { format: 1, expedition: 'The search', audience: 'public', dives: [{ dive: 1, closed: true, records: DIVE.length, recording: 'r' }] });
    ports.files.set('r', honest);
    ports.socket.drop(4000);
    await ports.pass(2);
    await checked('altered');
    expect([proof(), shown.integrities]).toEqual([{ is: 'altered', seq: 4, why: 'signature' }, ['1 damaged']]);
    expect(shown.ever).toEqual(['1/0', '1/1', '1/2', '1/3']);
    source.stop();
  });

  test('and drops a record of the history is found out', async () => {
    const { shown, checked, proof } = await follow({ frames: DIVE.filter((_, seq) => seq !== 3) });
    await checked('altered');
    expect([proof(), shown.count(1)]).toEqual([{ is: 'altered', seq: 3, why: 'missing' }, 3]);
  });

  test('and puts records of the history in another order is found out', async () => {
    const [a, b, c, d, ...rest] = DIVE as [Uint8Array, Uint8Array, Uint8Array, Uint8Array];
    const { shown, checked, proof } = await follow({ frames: [a, b, d, c, ...rest], over: true });
    await checked('altered');
    expect([proof(), shown.count(1)]).toEqual([{ is: 'altered', seq: 2, why: 'missing' }, 2]);
  });

  test('and puts records of another dive into this one is found out', async () => {
    const { shown, checked, proof } = await follow({ frames: [...DIVE.slice(0, 2), ...NEXT_DIVE.slice(2)] });
    await checked('altered');
    expect([proof(), shown.count(1)]).toEqual([{ is: 'altered', seq: 2, why: 'missing' }, 2]);
  });

  test('and cuts a recording short, with a footer of its own, is told of as one whose end is missing', async () => {
    const { shown, checked } = await follow({ frames: DIVE.slice(0, 4), over: true });
    await checked('signed');
    expect([shown.count(1), shown.integrities]).toEqual([4, ['1 incomplete']]);
  });

  test('and drops a live record, or has them in another order, is put right from the history, and that is told', async () => {
    const { ports, shown, send, serve } = await live(2);
    await serve(DIVE);
    send(DIVE[3] as Uint8Array);
    await until(() => shown.oddRecords === 1);
    await ports.pass(2);
    await until(() => shown.count(1) === DIVE.length);
    expect(shown.proofs.get(1)?.is).not.toBe('altered');
  });

  test('and sends a record again, or a dive that was before, changes nothing, and that is told', async () => {
    const { ports, shown, send } = await live(4);
    send(DIVE[2] as Uint8Array);
    send(DIVE[0] as Uint8Array);
    for (const frame of NEXT_DIVE) send(frame);
    await until(() => shown.count(2) === NEXT_DIVE.length);
    for (const frame of DIVE) send(frame);
    await until(() => shown.oddRecords === 2 + DIVE.length);
    await settled();
    expect([shown.count(1), shown.count(2), shown.oddRecords, ports.sockets.length]).toEqual([4, NEXT_DIVE.length, 2 + DIVE.length, 1]);
  });

  test('and gives out what another audience is told, as this one’s, is found out', async () => {
    const { shown, checked, proof } = await follow({ frames: FUNDERS });
    await checked('altered');
    expect([proof(), shown.count(1)]).toEqual([{ is: 'altered', seq: 0, why: 'signature' }, 0]);
  });

  test('and signs a dive by itself is told apart by the key in the link, and nothing of it is shown', async () => {
    const { proof, shown } = await follow({ frames: STRANGER, linked: KEY });
    expect([proof(), shown.ever, shown.links.at(-1)]).toEqual([{ is: 'altered', seq: 0, why: 'link' }, [], 'altered']);
  });

  test('and signs a dive by itself is told apart by the key kept, which stays kept', async () => {
    const { proof, checked, trust } = await follow({ frames: STRANGER, kept: KEY });
    await checked('signed');
    expect([proof(), trust.kept()]).toEqual([{ is: 'signed', basis: 'changed', key: STRANGERS_KEY }, KEY]);
  });

  test('and takes the signatures off is told apart by the key kept, and by the one in the link', async () => {
    const bare = diveFrames(1, [[SILENT, SILENT]]);
    expect((await follow({ frames: bare })).proof()).toEqual({ is: 'unsigned', known: false });
    expect((await follow({ frames: bare, kept: KEY })).proof()).toEqual({ is: 'unsigned', known: true });
    const byLink = await follow({ frames: bare, linked: KEY });
    expect([byLink.proof(), byLink.shown.ever]).toEqual([{ is: 'altered', seq: 0, why: 'link' }, []]);
  });

  test('and begins a dive that the ship never began has nothing of it shown, and the dive before stays', async () => {
    const { ports, shown, send } = await live(DIVE.length);
    send(illSigned(NEXT_DIVE[0] as Uint8Array));
    await until(() => shown.links.at(-1) === 'altered');
    expect([shown.count(2), shown.count(1), shown.proofs.get(1)?.is, ports.socket.isClosed]).toEqual([0, DIVE.length, 'signed', true]);
  });

  test('and sends bytes that are no record, though nothing it may send is such, is found out', async () => {
    const { proof, send } = await live(3);
    send(altered(DIVE[3] as Uint8Array, 0));
    await until(() => proof()?.is === 'altered');
    expect(proof()).toEqual({ is: 'altered', seq: 3, why: 'signature' });
  });
});

describe('a shore that lies on and on', async () => {
  const LONG = 800;
  const forged = (await longDive(LONG + 40)).map((frame, seq) => (seq >= LONG ? illSigned(frame) : frame));
  const beyond = (shown: Shown): string[] => shown.ever.filter((name) => Number(name.split('/')[1]) >= LONG);

  test('and adds to a dive what the ship did not sign, reading after reading, never has any of it shown', async () => {
    const { ports, shown, serve, checked, proof } = await follow({ frames: forged.slice(0, LONG), engine: patientEngine });
    await checked('signed');
    for (let more = 1; more <= 12 && proof()?.is === 'signed'; more += 1) {
      await serve(forged.slice(0, LONG + more));
      ports.socket.events.opened();
      ports.socket.events.frame(forged[0] as Uint8Array<ArrayBuffer>);
      ports.socket.drop(4000);
      await ports.pass(1);
    }
    expect([proof(), shown.count(1), beyond(shown)]).toEqual([{ is: 'altered', seq: LONG, why: 'signature' }, LONG, []]);
    expect(shown.links.at(-1)).toBe('altered');
  });

  test('and has the dive read again before it is checked ends no check by that', async () => {
    const { ports, shown, serve, proof } = await follow({ frames: forged.slice(0, LONG + 1), engine: patientEngine });
    for (let more = 2; more <= 20 && proof()?.is === 'checking'; more += 1) {
      await serve(forged.slice(0, LONG + more));
      ports.socket.events.opened();
      ports.socket.events.frame(forged[0] as Uint8Array<ArrayBuffer>);
      ports.socket.drop(4000);
      await ports.pass(1.05);
    }
    await ports.pass(10);
    expect([proof(), shown.count(1)]).toEqual([{ is: 'altered', seq: LONG, why: 'signature' }, LONG]);
  });

  test('and has the page forget the dive, and read it anew with more, is never believed meanwhile', async () => {
    const [honest, lying] = [forged.slice(0, LONG), forged];
    const { ports, shown, serve, checked, proof } = await follow({ frames: honest, engine: patientEngine });
    await checked('signed');
    const said: string[] = [];
    const readAnew = async (): Promise<void> => {
      const { length } = ports.sockets;
      ports.socket.drop(4000);
      for (let step = 0; step < 3_000 && ports.sockets.length === length && proof()?.is !== 'altered'; step += 1) {
        await ports.pass(0.03);
        if (shown.count(1) > LONG) said.push(proof()?.is ?? '');
      }
    };
    for (let turn = 0; turn < 8 && proof()?.is !== 'altered'; turn += 1) {
      ports.json('dives.json', { format: 1, expedition: 'The search', audience: 'public', dives: [] });
      await readAnew();
      await serve(lying);
      await readAnew();
    }
    expect([...new Set(said)]).toEqual(['checking']);
    expect([proof(), shown.count(1)]).toEqual([{ is: 'altered', seq: LONG, why: 'signature' }, LONG]);
  });

  test('and takes up the truth again when it is asked to has what is new checked, and what was is not checked twice', async () => {
    let checks = 0;
    const engine: Engine = { ...patientEngine, verify: (...args: Parameters<Engine['verify']>) => ((checks += 1), patientEngine.verify(...args)) };
    const honest = await longDive(40);
    const { ports, shown, serve, checked } = await follow({ frames: honest.slice(0, 30), engine });
    await checked('signed');
    await serve(honest);
    ports.socket.drop(4000);
    await ports.pass(2);
    expect([shown.count(1), checks, shown.proofs.get(1)?.is]).toEqual([honest.length, honest.length, 'signed']);
  });
});

describe('a recording source', () => {
  const entry = { dive: 1, closed: true, records: DIVE.length, recording: 'r' };

  async function replay(frames: readonly Uint8Array[], audience = 'public') {
    const [ports, shown] = [new FakePorts(), new Shown()];
    ports.files.set('r', await closed(frames));
    const source = recordingSource(ports, entry, audience, means({ digest, proving: { engine: crypto.subtle, trust: brieflyTrusting(null) } }), shown);
    source.start();
    await settled();
    for (let turn = 0; turn < 3_000 && (shown.proofs.get(1)?.is ?? 'checking') === 'checking'; turn += 1) await ports.pass(0.01);
    return { shown, source, ports };
  }

  test('says that the ship signed it', async () => {
    const { shown } = await replay(DIVE);
    expect([shown.proofs.get(1)?.is, shown.count(1)]).toEqual(['signed', DIVE.length]);
  });

  test.each([[0], [2], [6]])('takes back what is altered from record %i on', async (seq) => {
    const { shown } = await replay(DIVE.map((frame, i) => (i === seq ? illSigned(frame) : frame)));
    expect([shown.proofs.get(1), shown.count(1)]).toEqual([{ is: 'altered', seq, why: 'signature' }, seq]);
  });

  test('is not another audience’s', async () => {
    const { shown } = await replay(FUNDERS);
    expect([shown.proofs.get(1)?.is, shown.count(1)]).toEqual(['altered', 0]);
  });

  test('that is read again is called signed again once it is checked, not before', async () => {
    const { source, shown, ports } = await replay(DIVE);
    ports.files.set('r', await closed(DIVE.map((frame, i) => (i === 3 ? illSigned(frame) : frame))));
    const said: string[] = [];
    const proof = shown.proof.bind(shown);
    shown.proof = (dive, told) => (said.push(told.is), proof(dive, told));
    source.retry();
    await until(() => said.includes('altered'));
    expect([said, shown.count(1)]).toEqual([['checking', 'altered'], 3]);
  });

  test('that is stopped checks no further', async () => {
    const { source, ports } = await replay(DIVE);
    source.retry();
    source.stop();
    await settled();
    await ports.pass(1);
    expect(ports.waiting).toBe(0);
  });
});
