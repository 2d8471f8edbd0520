/** The world outside, made of values: a clock that is turned, timers that are due, sockets that are played. */

import type { Engine } from '../src/seal';
import type { Means } from '../src/source';
import { brieflyTrusting } from '../src/trust';
import type { Answer, Ports, SocketEvents } from '../src/transport';

/** What a source is given in tests: nothing to check with, unless they say so. */
export const means = (given: Partial<Means> = {}): Means => ({
  digest: null, proving: { engine: null, trust: brieflyTrusting(null) }, isGuest: false, ...given,
});

export class FakeSocket {
  isClosed = false;
  constructor(readonly path: string, readonly events: SocketEvents) {}

  /** The other side closes. */
  drop(code: number): void {
    this.isClosed = true;
    this.events.closed(code);
  }
}

export class FakePorts implements Ports {
  readonly sockets: FakeSocket[] = [];
  readonly asked: string[] = [];
  readonly files = new Map<string, Uint8Array<ArrayBuffer>>();
  isReachable = true;
  chanceIs = 0;
  private time_s = 0;
  private timers: { due_s: number; run: () => void }[] = [];

  read(path: string): Promise<Answer> {
    this.asked.push(path);
    const bytes = this.files.get(path);
    if (!this.isReachable) return Promise.reject(new TypeError('unreachable'));
    return Promise.resolve({ status: bytes ? 200 : 404, bytes: bytes ?? new Uint8Array() });
  }

  open(path: string, events: SocketEvents): () => void {
    const socket = new FakeSocket(path, events);
    this.sockets.push(socket);
    return () => (socket.isClosed = true);
  }

  after(delay_s: number, run: () => void): () => void {
    const timer = { due_s: this.time_s + delay_s, run };
    this.timers.push(timer);
    return () => (this.timers = this.timers.filter((other) => other !== timer));
  }

  now_s = (): number => this.time_s;
  chance = (): number => this.chanceIs;

  get socket(): FakeSocket {
    const last = this.sockets.at(-1);
    if (!last) throw new Error('no socket was opened');
    return last;
  }

  get waiting(): number {
    return this.timers.length;
  }

  json(path: string, value: unknown): void {
    this.files.set(path, new TextEncoder().encode(JSON.stringify(value)).slice());
  }

  /** Let time pass, timer by timer, and everything promised meanwhile happen. */
  async pass(time_s: number): Promise<void> {
    const end_s = this.time_s + time_s;
    await settled();
    for (;;) {
      const next = this.timers.filter(({ due_s }) => due_s <= end_s).sort((one, other) => one.due_s - other.due_s)[0];
      if (!next) break;
      this.timers = this.timers.filter((other) => other !== next);
      this.time_s = next.due_s;
      next.run();
      await settled();
    }
    this.time_s = end_s;
  }
}

declare function setImmediate(run: () => void): void;

let digesting: Promise<unknown> = Promise.resolve();

/** The engine's own SHA-256; `settled` waits for it, since it works on another thread. */
export function digest(algorithm: 'SHA-256', data: Uint8Array<ArrayBuffer>): Promise<ArrayBuffer> {
  const found = crypto.subtle.digest(algorithm, data);
  digesting = found;
  return found;
}

/** The engine's own signatures, which `settled` waits for in the same way. */
export const patientEngine: Engine = {
  importKey: crypto.subtle.importKey.bind(crypto.subtle),
  verify: (...args: Parameters<Engine['verify']>) => {
    const found = crypto.subtle.verify(...args);
    digesting = Promise.all([digesting, found]);
    return found;
  },
};

/** Let every promise that can be kept be kept. */
export async function settled(): Promise<void> {
  for (let turn = 0; turn < 3; turn += 1) {
    await digesting;
    await new Promise<void>((done) => setImmediate(done));
  }
}
