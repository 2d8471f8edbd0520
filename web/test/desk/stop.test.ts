import { describe, expect, test } from 'vitest';
import { AGAIN_S, FRESH_S, ON_DISK_AGAIN_S, readSent, Stopper, type Sent } from '../../desk/src/stop';

const UNHEARD: Sent = { kind: 'unheard', why: null };
const TAKEN: Sent = { kind: 'taken', onDisk: true };
const ACTS: Sent = { kind: 'taken', onDisk: false };

/** A ship that answers as it is told to, and a clock that is turned. */
class Ship {
  answers: (Sent | Promise<Sent>)[] = [];
  sent = 0;
  owed = false;
  readonly seen: string[] = [];
  private time_s = 0;
  private timers: { due_s: number; run: () => void }[] = [];
  readonly stopper: Stopper = new Stopper({
    send: () => {
      this.sent += 1;
      return Promise.resolve(this.answers.shift() ?? UNHEARD);
    },
    after: (delay_s, run) => {
      const timer = { due_s: this.time_s + delay_s, run };
      this.timers.push(timer);
      return () => (this.timers = this.timers.filter((other) => other !== timer));
    },
    now_s: () => this.time_s,
    keep: (owed) => (this.owed = owed),
    changed: () => this.seen.push(this.stopper.stop.kind),
  });

  async pass(time_s: number): Promise<void> {
    const end_s = this.time_s + time_s;
    await settled();
    for (let due = this.next(end_s); due; due = this.next(end_s)) {
      this.timers = this.timers.filter((other) => other !== due);
      this.time_s = due.due_s;
      due.run();
      await settled();
    }
    this.time_s = end_s;
  }

  private next(end_s: number): { due_s: number; run: () => void } | undefined {
    return this.timers.filter(({ due_s }) => due_s <= end_s).sort((one, other) => one.due_s - other.due_s)[0];
  }
}

async function settled(): Promise<void> {
  for (let turn = 0; turn < 5; turn += 1) await Promise.resolve();
}

describe('a stop', () => {
  test('is sent in the moment it is pressed, and says that it was taken', async () => {
    const ship = new Ship();
    ship.answers = [TAKEN];
    ship.stopper.press();
    expect([ship.sent, ship.owed, ship.stopper.stop.kind]).toEqual([1, true, 'sending']);
    await ship.pass(0);
    expect([ship.sent, ship.owed, ship.stopper.stop.kind]).toEqual([1, false, 'taken']);
    await ship.pass(60);
    expect(ship.sent).toBe(1);
  });

  test('pressed while the ship is away is kept, says so, and goes out again until it is taken', async () => {
    const ship = new Ship();
    ship.stopper.press();
    await ship.pass(0);
    expect(ship.stopper.stop).toEqual({ kind: 'kept', since_s: 0, why: null });
    await ship.pass(10 * AGAIN_S);
    expect([ship.sent, ship.owed]).toEqual([11, true]);
    expect(ship.stopper.stop).toMatchObject({ kind: 'kept', since_s: 0 });
    ship.answers = [TAKEN];
    await ship.pass(AGAIN_S);
    expect([ship.sent, ship.owed, ship.stopper.stop.kind]).toEqual([12, false, 'taken']);
  });

  test('that is kept goes out at once when the ship is heard again', async () => {
    const ship = new Ship();
    ship.stopper.press();
    await ship.pass(0);
    ship.answers = [TAKEN];
    ship.stopper.again();
    await ship.pass(0);
    expect([ship.sent, ship.stopper.stop.kind]).toEqual([2, 'taken']);
    ship.stopper.again();
    expect(ship.sent).toBe(2);
  });

  test('that the ship could not take is tried again, and its reason said', async () => {
    const ship = new Ship();
    ship.answers = [{ kind: 'unheard', why: 'no room' }, TAKEN];
    ship.stopper.press();
    await ship.pass(0);
    expect(ship.stopper.stop).toMatchObject({ kind: 'kept', why: 'no room' });
    await ship.pass(AGAIN_S);
    expect(ship.stopper.stop.kind).toBe('taken');
  });

  test('is given up only where the ship says that this desk may not ask', async () => {
    const ship = new Ship();
    ship.answers = [{ kind: 'refused' }];
    ship.stopper.press();
    await ship.pass(60);
    expect([ship.sent, ship.owed, ship.stopper.stop.kind]).toEqual([1, false, 'refused']);
  });

  test('is sent at every press, also while one hangs; what hangs is not waited for, nor believed afterwards', async () => {
    const ship = new Ship();
    let late: (sent: Sent) => void = () => undefined;
    ship.answers = [new Promise<Sent>((done) => (late = done)), TAKEN];
    ship.stopper.press();
    await ship.pass(2);
    ship.stopper.again();
    expect(ship.sent).toBe(1);
    ship.stopper.press();
    expect(ship.sent).toBe(2);
    await ship.pass(0);
    expect([ship.owed, ship.stopper.stop.kind]).toEqual([false, 'taken']);
    late(UNHEARD);
    await ship.pass(60);
    expect([ship.sent, ship.owed, ship.stopper.stop.kind]).toEqual([2, false, 'taken']);
  });

  test('is owed while it acts but is not on the disk, and is asked for until it is', async () => {
    const ship = new Ship();
    ship.answers = [ACTS, ACTS, TAKEN];
    ship.stopper.press();
    await ship.pass(0);
    expect([ship.owed, ship.stopper.owed]).toEqual([true, true]);
    expect(ship.stopper.stop).toEqual({ kind: 'taken', at_s: 0, onDisk: false });
    await ship.pass(ON_DISK_AGAIN_S);
    expect([ship.sent, ship.owed]).toEqual([2, true]);
    await ship.pass(ON_DISK_AGAIN_S);
    expect([ship.sent, ship.owed, ship.stopper.stop]).toEqual([3, false, { kind: 'taken', at_s: 0, onDisk: true }]);
  });

  test('that acts is not asked for any more once somebody has resumed', async () => {
    for (const resumed of ['isUndone', 'isOver'] as const) {
      const ship = new Ship();
      ship.answers = [ACTS];
      ship.stopper.press();
      await ship.pass(0);
      ship.stopper[resumed]();
      await ship.pass(60);
      expect([ship.sent, ship.owed, ship.stopper.stop.kind]).toEqual([1, false, resumed === 'isOver' ? 'none' : 'taken']);
    }
  });

  test('that is not done can be called undone by nobody', async () => {
    const ship = new Ship();
    ship.stopper.press();
    await ship.pass(0);
    ship.stopper.isUndone();
    ship.stopper.isOver();
    expect([ship.owed, ship.stopper.stop.kind]).toEqual([true, 'kept']);
  });

  test('found kept goes out by itself while it is fresh, and is only offered with its age once it is old', async () => {
    const [fresh, old] = [new Ship(), new Ship()];
    fresh.stopper.found(FRESH_S - 1);
    expect(fresh.sent).toBe(1);
    old.stopper.found(3 * 3_600);
    await old.pass(600);
    old.stopper.again();
    expect([old.sent, old.stopper.stop]).toEqual([0, { kind: 'offered', age_s: 10_800 }]);
    old.stopper.dismiss();
    expect([old.owed, old.stopper.stop.kind]).toEqual([false, 'none']);
    old.answers = [TAKEN];
    old.stopper.found(3 * 3_600);
    old.stopper.press();
    await old.pass(0);
    expect([old.sent, old.owed, old.stopper.stop.kind]).toEqual([1, false, 'taken']);
  });

  test('pressed again after it was taken is a stop of its own', async () => {
    const ship = new Ship();
    ship.answers = [TAKEN, TAKEN];
    ship.stopper.press();
    await ship.pass(0);
    ship.stopper.press();
    await ship.pass(0);
    expect(ship.sent).toBe(2);
  });
});

describe('what a stop is answered with', () => {
  test('is read for whether it acts and whether it is on the disk, by the flag or by an objection in words', () => {
    const read = (value: unknown, status = 200): Sent => readSent({ status, value });
    expect(read({ ok: true, on_disk: true })).toEqual(TAKEN);
    expect(read({ ok: true, on_disk: false })).toEqual(ACTS);
    expect(read({ ok: true, on_disk: false, but: 'it is not on the disk yet' })).toEqual(ACTS);
    expect(read({ ok: true })).toEqual(TAKEN);
    expect(read({ ok: true, but: 'it is not on the disk yet' })).toEqual(ACTS);
    expect(read({ ok: false, why: 'no room' }, 500)).toEqual({ kind: 'unheard', why: 'no room' });
    for (const nothing of [null, 'ok', [], 7]) expect(read(nothing)).toEqual(UNHEARD);
    expect(readSent(null)).toEqual(UNHEARD);
    expect([401, 403].map((status) => read({ ok: true }, status).kind)).toEqual(['refused', 'refused']);
  });
});
