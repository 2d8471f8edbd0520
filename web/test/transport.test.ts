import { describe, expect, test } from 'vitest';
import type { Connection } from '../src/state';
import { openTail, type Refetch, type TailOptions, type Taken } from '../src/transport';
import { FakePorts, settled } from './ports';

const FRAME = new Uint8Array(64);

function follow(options: Partial<TailOptions> = {}) {
  const ports = new FakePorts();
  const told: Connection[] = [];
  const history = { reads: 0, result: 'read' as Refetch };
  const tail = openTail(ports, {
    history: async () => {
      history.reads += 1;
      return history.result;
    },
    path: () => `live?after=${history.reads}`,
    take: () => 'new',
    behind: async () => false,
    due_s: () => null,
    isGuest: false,
    fileOnly: async () => false,
    tell: (connection) => told.push(connection),
    ...options,
  });
  return { ports, tail, told, history, last: () => told.at(-1) };
}

async function opened(options: Partial<TailOptions> = {}) {
  const following = follow(options);
  await settled();
  following.ports.socket.events.opened();
  return following;
}

describe('the live tail', () => {
  test('reads the history first, then opens the socket behind it', async () => {
    const { ports, told, last } = follow();
    expect([told, ports.sockets]).toEqual([[{ is: 'connecting' }], []]);
    await settled();
    expect(ports.socket.path).toBe('live?after=1');
    ports.socket.events.opened();
    expect(last()).toEqual({ is: 'connected' });
  });

  test('counts down aloud, tries again when the wait is over, and is connected again', async () => {
    const { ports, told, last } = await opened();
    ports.chanceIs = 0.999999;
    ports.socket.drop(1006);
    expect(last()).toMatchObject({ is: 'disconnected' });
    await ports.pass(1);
    expect((last() as { retry_s: number }).retry_s).toBeCloseTo(1, 3);
    await ports.pass(1.1);
    expect(ports.sockets.length).toBe(2);
    ports.socket.events.opened();
    expect(last()).toEqual({ is: 'connected' });
    expect(told.filter(({ is }) => is === 'disconnected').length).toBeGreaterThanOrEqual(2);
  });

  test('waits twice as long after each failure, up to a minute, and starts short again after a frame', async () => {
    const { ports, history } = await opened();
    ports.chanceIs = 0;
    history.result = 'failed';
    ports.socket.drop(1006);
    const gaps: number[] = [];
    let since_s = ports.now_s();
    for (let reads = history.reads; gaps.length < 8; ) {
      await ports.pass(0.25);
      if (history.reads === reads) continue;
      gaps.push(ports.now_s() - since_s);
      since_s = ports.now_s();
      reads = history.reads;
    }
    expect(gaps.map(Math.round)).toEqual([1, 2, 4, 8, 16, 30, 30, 30]);
    history.result = 'read';
    await ports.pass(31);
    ports.socket.events.opened();
    ports.socket.events.frame(FRAME);
    const sockets = ports.sockets.length;
    ports.socket.drop(1006);
    await ports.pass(1.25);
    expect(ports.sockets.length).toBe(sockets + 1);
  });

  test('tries at once when asked to, and only while it waits', async () => {
    const { ports, tail, history } = await opened();
    tail.retry();
    await settled();
    expect(history.reads).toBe(1);
    ports.socket.drop(1001);
    tail.retry();
    await settled();
    expect([history.reads, ports.sockets.length]).toEqual([2, 2]);
  });

  test.each([4000, 4001])('closed with %d, fetches the history after a moment of chance', async (code) => {
    const { ports, history, told } = await opened();
    ports.socket.drop(code);
    await settled();
    expect(history.reads).toBe(1);
    await ports.pass(1);
    expect([history.reads, ports.sockets.length]).toEqual([2, 2]);
    expect(told.some(({ is }) => is === 'disconnected')).toBe(false);
  });

  test('dropped again and again, lets more time pass each time', async () => {
    const { ports } = await opened();
    const moments: number[] = [];
    for (let drops = 0; drops < 4; drops += 1) {
      const before = ports.sockets.length;
      const since_s = ports.now_s();
      ports.socket.drop(4001);
      while (ports.sockets.length === before) await ports.pass(0.25);
      moments.push(ports.now_s() - since_s);
      ports.socket.events.opened();
    }
    expect(moments.map(Math.round)).toEqual([1, 2, 4, 8]);
  });

  test.each([4002, 4003])('closed with %d, stops and says that it was refused', async (code) => {
    const { ports, last, history } = await opened();
    ports.socket.drop(code);
    await ports.pass(500);
    expect(last()).toEqual({ is: 'refused' });
    expect([history.reads, ports.waiting]).toEqual([1, 0]);
  });

  test('closed with 1013, says that the relay is full while it waits', async () => {
    const { ports, last } = await opened();
    ports.socket.drop(1013);
    expect(last()).toMatchObject({ is: 'full' });
  });

  test('whose frame does not follow fetches the history', async () => {
    const { ports, history } = await opened({ take: () => 'gap' });
    const first = ports.socket;
    first.events.frame(FRAME);
    expect(first.isClosed).toBe(true);
    await ports.pass(1);
    expect([history.reads, ports.sockets.length]).toEqual([2, 2]);
  });

  test('takes no notice of a socket that it has left', async () => {
    const { ports, tail, told, history } = await opened();
    const first = ports.socket;
    first.events.closed(1006);
    tail.retry();
    await settled();
    const before = told.length;
    first.events.closed(4002);
    first.events.opened();
    first.events.frame(FRAME);
    await settled();
    expect([told.length, history.reads]).toEqual([before, 2]);
  });

  test('that does not open in fifteen seconds is given up for now', async () => {
    const { ports, last } = follow();
    await ports.pass(17);
    expect(last()).toMatchObject({ is: 'disconnected' });
    expect(ports.sockets[0]?.isClosed).toBe(true);
  });

  test('says "delayed" when three reports are overdue, and "connected" with the next', async () => {
    const { ports, last } = await opened({ due_s: () => 15 });
    await ports.pass(45);
    expect(last()).toEqual({ is: 'connected' });
    await ports.pass(2);
    expect(last()).toMatchObject({ is: 'delayed' });
    ports.socket.events.frame(FRAME);
    expect(last()).toEqual({ is: 'connected' });
  });

  test('is never delayed while no report is due', async () => {
    const { ports, told } = await opened();
    await ports.pass(900);
    expect(told.some(({ is }) => is === 'delayed')).toBe(false);
  });

  test('asks about a silence, ever more seldom, and stays open while nothing was missed', async () => {
    let asked = 0;
    const { ports } = await opened({ behind: async () => (asked += 1) < 0 });
    await ports.pass(59);
    expect(asked).toBe(0);
    await ports.pass(2);
    expect(asked).toBe(1);
    await ports.pass(3_600);
    expect(asked).toBeGreaterThan(8);
    expect(asked).toBeLessThan(16);
    expect(ports.sockets.length).toBe(1);
  });

  test('that missed something in a silence fetches it', async () => {
    const { ports, history } = await opened({ behind: async () => true });
    await ports.pass(62);
    expect([history.reads, ports.sockets.length]).toEqual([2, 2]);
  });

  test('whose silence turns out to be a lost network says so', async () => {
    const { ports, last } = await opened({ behind: async () => Promise.reject(new TypeError('unreachable')) });
    await ports.pass(61);
    expect(last()).toMatchObject({ is: 'disconnected' });
  });

  test('never opened where the site has none: says that there are recordings only, and rests', async () => {
    const { ports, last } = follow({ fileOnly: async () => true });
    await settled();
    ports.socket.drop(1006);
    await ports.pass(500);
    expect(last()).toEqual({ is: 'recordings only' });
    expect([ports.sockets.length, ports.waiting]).toEqual([1, 0]);
  });

  test('that finds a newer language says so and rests', async () => {
    const { ports, last } = follow({ history: async () => 'outdated' });
    await ports.pass(500);
    expect(last()).toEqual({ is: 'outdated' });
    expect([ports.sockets.length, ports.waiting]).toEqual([0, 0]);
  });

  test('that was closed does nothing more', async () => {
    const { ports, tail, told } = await opened();
    tail.close();
    const before = told.length;
    await ports.pass(1_000);
    expect([ports.socket.isClosed, ports.waiting, told.length]).toEqual([true, 0, before]);
  });

  test('that was closed while it read the history opens nothing', async () => {
    const { ports, tail } = follow();
    tail.close();
    await ports.pass(100);
    expect([ports.sockets.length, ports.waiting]).toEqual([0, 0]);
  });

  test('has at most one timer and one open socket at any time', async () => {
    const { ports } = await opened({ due_s: () => 15, behind: async () => true });
    for (const code of [1006, 4000, 1013, 1001, 4001, 1006]) {
      ports.socket.drop(code);
      for (let n = 0; n < 90; n += 1) {
        await ports.pass(1);
        expect(ports.waiting).toBeLessThanOrEqual(1);
        expect(ports.sockets.filter((socket) => !socket.isClosed).length).toBeLessThanOrEqual(1);
        if (n % 30 === 0 && !ports.socket.isClosed) ports.socket.events.opened();
      }
    }
  });

  test('that was altered takes nothing more until it is asked to try again', async () => {
    const { ports, tail, history, last } = await opened();
    tail.alter();
    expect([last(), ports.socket.isClosed]).toEqual([{ is: 'altered' }, true]);
    await ports.pass(600);
    expect(history.reads).toBe(1);
    tail.retry();
    await settled();
    expect(ports.sockets.length).toBe(2);
    tail.close();
    tail.alter();
    expect(last()).toEqual({ is: 'altered' });
  });

  test('whose history was altered opens no socket', async () => {
    const { ports, last } = await (async () => {
      const following = follow({ history: async () => 'altered' });
      await settled();
      return following;
    })();
    expect([last(), ports.sockets]).toEqual([{ is: 'altered' }, []]);
  });

  test('waits ever longer while nothing new comes, whatever else does', async () => {
    const { ports, history } = await opened({ take: () => 'known' });
    ports.chanceIs = 0.999999;
    for (let turn = 0; turn < 6; turn += 1) {
      ports.socket.events.opened();
      ports.socket.events.frame(FRAME);
      ports.socket.drop(4000);
      await ports.pass(2.1);
      if (ports.socket.isClosed) break;
    }
    expect([ports.socket.isClosed, history.reads]).toEqual([true, 2]);
  });

  test('is told that a frame was taken when it has been checked, and that a gap was found, unless it has moved on', async () => {
    const answers: ((taken: Taken) => void)[] = [];
    const { ports, history } = await opened({ take: () => new Promise((done) => answers.push(done)) });
    ports.socket.events.frame(FRAME);
    ports.socket.events.frame(FRAME);
    answers[0]?.('new');
    await settled();
    expect([ports.socket.isClosed, history.reads]).toEqual([false, 1]);
    ports.socket.drop(4000);
    await ports.pass(2);
    answers[1]?.('gap');
    await ports.pass(5);
    expect(history.reads).toBe(2);
  });

  test('of a guest whom the site does not know asks again, a minute or two later each time, and says so', async () => {
    const { ports, history, last } = await opened({ isGuest: true });
    history.result = 'not invited';
    ports.socket.drop(4003);
    expect(last()).toMatchObject({ is: 'disconnected' });
    await ports.pass(3);
    expect([last()?.is, history.reads, ports.sockets.length]).toEqual(['not invited', 2, 1]);
    await ports.pass(600);
    expect(history.reads).toBeGreaterThanOrEqual(2 + 600 / 125);
    expect(history.reads).toBeLessThanOrEqual(2 + 600 / 60);
    history.result = 'read';
    await ports.pass(61);
    ports.socket.events.opened();
    expect(last()).toEqual({ is: 'connected' });
  });

  test('stops where the invitation has ended', async () => {
    const { ports, last } = await opened();
    ports.socket.drop(4005);
    await ports.pass(600);
    expect([last(), ports.sockets.length]).toEqual([{ is: 'invitation ended' }, 1]);
  });
});
