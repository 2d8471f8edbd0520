import { describe, expect, test } from 'vitest';
import { AGAIN_S, Stopper, type Sent } from '../../desk/src/stop';

const UNHEARD: Sent = { kind: 'unheard', why: null };
const TAKEN: Sent = { kind: 'taken', but: null };

/** A ship that answers as it is told to, and a clock that is turned. */
class Ship {
  answers: Sent[] = [];
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

  test('pressed many times at once is one sending at a time, and none is lost', async () => {
    const ship = new Ship();
    for (let press = 0; press < 5; press += 1) ship.stopper.press();
    expect(ship.sent).toBe(1);
    await ship.pass(0);
    ship.answers = [TAKEN];
    ship.stopper.press();
    await ship.pass(0);
    expect([ship.sent, ship.stopper.stop.kind]).toEqual([2, 'taken']);
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
