import { describe, expect, test } from 'vitest';
import { HIDDEN_S, Link, Rest, SILENT_S, TRACKS_S, type Line, type LinkPorts } from '../../desk/src/link';
import { FakePorts, settled } from '../ports';
import { STATE, TRACKS } from './states';

/** A ship whose stream is played by hand. */
class Ship {
  readonly ports = new FakePorts();
  readonly lines: Line[] = [];
  states = 0;
  readonly misread: string[] = [];
  told: unknown = TRACKS;
  tracks = 0;
  asked = 0;
  hungUp = 0;
  tracksAsked = 0;
  status = 200;
  private say: (text: string) => void = () => undefined;
  private end: () => void = () => undefined;
  readonly link: Link;

  constructor() {
    const world: LinkPorts = {
      now_s: this.ports.now_s,
      chance: this.ports.chance,
      after: (delay_s, run) => this.ports.after(delay_s, run),
      read: () => {
        this.tracksAsked += 1;
        return Promise.resolve({ status: this.status, value: this.told });
      },
      stream: (_path, take, ended) => this.stream(take, ended),
    };
    this.link = new Link(world, { line: (line) => this.lines.push(line), state: () => (this.states += 1), tracks: () => (this.tracks += 1), misread: (why) => this.misread.push(why) });
  }

  private stream(take: (chunk: Uint8Array) => void, ended: AbortSignal): Promise<number> {
    this.asked += 1;
    if (!this.ports.isReachable) return Promise.reject(new TypeError('unreachable'));
    if (this.status !== 200) return Promise.resolve(this.status);
    return new Promise((done, failed) => {
      ended.addEventListener('abort', () => {
        this.hungUp += 1;
        failed(new DOMException('', 'AbortError'));
      });
      this.say = (text) => take(new TextEncoder().encode(text));
      this.end = () => done(200);
    });
  }

  async tell(value: unknown): Promise<void> {
    this.say(`${JSON.stringify(value)}\n`);
    await settled();
  }

  async hangUp(): Promise<void> {
    this.end();
    await settled();
  }

  get line(): Line | undefined {
    return this.lines.at(-1);
  }
}

describe('the line to the ship', () => {
  test('hands on each state, and asks for the tracks every few seconds', async () => {
    const ship = new Ship();
    ship.link.open();
    await ship.tell(STATE);
    await ship.tell(STATE);
    expect([ship.states, ship.line?.kind, ship.tracks]).toEqual([2, 'heard', 1]);
    await ship.ports.pass(TRACKS_S * 0.7);
    await ship.tell(STATE);
    await ship.ports.pass(TRACKS_S * 0.4);
    expect(ship.tracksAsked).toBe(2);
    ship.link.close();
  });

  test('that ends is asked for again, later and later, and says when', async () => {
    const ship = new Ship();
    ship.link.open();
    await ship.tell(STATE);
    ship.ports.isReachable = false;
    await ship.hangUp();
    expect(ship.line).toEqual({ kind: 'lost', why: 'ended', detail: '', again_at_s: 0.25 });
    const waits: number[] = [];
    for (let attempt = 0; attempt < 8; attempt += 1) {
      const { line } = ship;
      if (line?.kind !== 'lost') throw new Error(line?.kind);
      const wait_s = line.again_at_s - ship.ports.now_s();
      waits.push(wait_s);
      await ship.ports.pass(wait_s);
    }
    expect(waits).toEqual([0.25, 0.5, 1, 2, 4, 4, 4, 4]);
    expect(ship.line).toMatchObject({ kind: 'lost', why: 'unreachable' });
    ship.ports.isReachable = true;
    await ship.ports.pass(8);
    await ship.tell(STATE);
    expect(ship.line?.kind).toBe('heard');
    ship.link.close();
  });

  test('that falls silent is given up', async () => {
    const ship = new Ship();
    ship.link.open();
    await ship.tell(STATE);
    await ship.ports.pass(SILENT_S * 0.9);
    expect(ship.line?.kind).toBe('heard');
    await ship.ports.pass(SILENT_S * 0.2);
    expect(ship.lines.some((line) => line.kind === 'lost' && line.why === 'silent')).toBe(true);
    ship.link.close();
  });

  test('that says what can’t be read says which field, and is tried again', async () => {
    const ship = new Ship();
    ship.link.open();
    await ship.tell({ ...STATE, vehicles: 7 });
    expect(ship.line).toMatchObject({ kind: 'lost', why: 'misread' });
    expect(ship.line).toHaveProperty('detail', expect.stringContaining('state.vehicles'));
    expect(ship.states).toBe(0);
    ship.link.close();
  });

  test('says of tracks that can’t be read which field is wrong, and goes on with the states', async () => {
    const ship = new Ship();
    ship.told = { ...TRACKS, ring_m: 'far' };
    ship.link.open();
    await ship.tell(STATE);
    expect([ship.tracks, ship.states, ship.line?.kind]).toEqual([0, 1, 'heard']);
    expect(ship.misread).toEqual([expect.stringContaining('tracks.ring_m')]);
    ship.link.close();
  });

  test('with a wrong key is not tried again', async () => {
    const ship = new Ship();
    ship.status = 401;
    ship.link.open();
    await ship.ports.pass(120);
    expect([ship.asked, ship.line]).toEqual([1, { kind: 'barred' }]);
  });

  test('that was closed stays silent', async () => {
    const ship = new Ship();
    ship.link.open();
    await ship.tell(STATE);
    ship.link.close();
    const had = ship.lines.length;
    await ship.ports.pass(120);
    expect([ship.asked, ship.lines.length]).toEqual([1, had]);
  });

  test('rests while its tab is hidden, says so, and goes on at once when it is shown', async () => {
    const ship = new Ship();
    const rest = new Rest((delay_s, run) => ship.ports.after(delay_s, run), () => ship.link);
    ship.link.open();
    await ship.tell(STATE);
    rest.hidden(true);
    for (let half = 0; half < 2 * HIDDEN_S - 1; half += 1) {
      await ship.ports.pass(0.5);
      await ship.tell(STATE);
    }
    expect(ship.line?.kind).toBe('heard');
    await ship.ports.pass(0.6);
    expect([ship.line, ship.hungUp]).toEqual([{ kind: 'resting' }, 1]);
    const { asked, tracksAsked } = ship;
    await ship.ports.pass(3_600);
    expect([ship.asked, ship.tracksAsked, ship.line?.kind]).toEqual([asked, tracksAsked, 'resting']);
    rest.hidden(false);
    expect(ship.asked).toBe(asked + 1);
    await ship.tell(STATE);
    expect(ship.line?.kind).toBe('heard');
    ship.link.close();
  });

  test('doesn’t rest for a tab that is soon shown again, nor does one that was closed come back', async () => {
    const ship = new Ship();
    const rest = new Rest((delay_s, run) => ship.ports.after(delay_s, run), () => ship.link);
    ship.link.open();
    rest.hidden(true);
    await ship.ports.pass(HIDDEN_S * 0.3);
    rest.hidden(false);
    expect(ship.asked).toBe(1);
    ship.link.close();
    rest.hidden(true);
    await ship.ports.pass(2 * HIDDEN_S);
    rest.hidden(false);
    expect([ship.asked, ship.lines.some(({ kind }) => kind === 'resting')]).toEqual([1, false]);
  });
});
