/**
 * Checks what came of one dive against the ship's signatures: a recording in the background, a live frame before it is shown.
 *
 * Rules: engine and timers are passed in; what is checked in the background is checked in small slices, so that a hand that
 * drags through a dive isn't held up, and the less of them, the busier the page is; what was begun is checked to its end,
 * whatever comes meanwhile, and nothing is called signed before that; what is found is told once.
 */

import type { Header } from './decode';
import { Seal, type Engine } from './seal';
import type { Ports } from './transport';
import { proofOf, type Proof, type Trust } from './trust';

/** Frames between two pauses, so few that a slow phone has time for a picture in between. */
const AT_ONCE = 8;
/** The least and the longest pause; in between it is as many times as long as the frames before it took. */
const [PAUSE_S, PAUSE_MOST_S, PAUSES] = [0.012, 0.25, 3];

/** What checking needs of the world; `engine` is null on a page that isn't served securely. */
export interface Proving {
  readonly engine: Engine | null;
  readonly trust: Trust;
}

export class Witness {
  private proof: Proof = { is: 'unsigned', known: false };
  /** What the dive's first record has it be, for when what was altered is asked for again. */
  private begun: Proof = this.proof;
  private seal: Promise<Seal | null> | null = null;
  /** Searches that haven't come to their end. */
  private pending = 0;
  private isOver = false;

  constructor(
    readonly dive: number,
    private readonly time: Pick<Ports, 'after' | 'now_s'>,
    private readonly proving: Proving,
    private readonly tell: (dive: number, proof: Proof) => void,
  ) {}

  /** Begin with the first record of what is to be checked; false if it can't be of the ship that the link names. */
  begin(header: Header, audience: string): boolean {
    const { engine, trust } = this.proving;
    const found = proofOf(header.key, trust);
    const key = found.is === 'checking' ? found.key : null;
    this.seal = engine === null || key === null ? null : Seal.of(engine, key, audience);
    const isAgain = key !== null && 'key' in this.begun && this.begun.key === key;
    if (!isAgain) this.begun = engine === null && key !== null ? { is: 'unchecked', why: 'insecure', key } : found;
    this.say(this.begun);
    return found.is !== 'altered';
  }

  /** What was altered is asked for again: what is shown of the dive was checked before, or is being checked. */
  again(): void {
    if (this.proof.is === 'altered') this.say(this.begun);
  }

  /** Whether there is something to check with. */
  get isAble(): boolean {
    return this.seal !== null;
  }

  /** Whether the dive says that it is signed. */
  get isSigned(): boolean {
    return this.proof.is !== 'unsigned';
  }

  /** Check one frame; true, too, where this browser can't. */
  async passes(frame: Uint8Array, sealing = this.seal): Promise<boolean> {
    const seal = await sealing;
    if (seal === null && sealing !== null) this.unable();
    return seal === null || seal.isOn(frame);
  }

  /**
   * Check frames, once `turn` is over; resolve with the index of the first bad one, null where all are good or nothing can
   * be checked.
   */
  async firstBad(frames: readonly Uint8Array[], turn: Promise<unknown> | null = null): Promise<number | null> {
    const { seal } = this;
    if (seal === null) return null;
    this.pending += 1;
    if (turn !== null) await turn;
    const found = await this.search(frames, seal);
    this.pending -= 1;
    return found;
  }

  private async search(frames: readonly Uint8Array[], seal: Promise<Seal | null>): Promise<number | null> {
    for (let at = 0; at < frames.length && !this.isOver; at += AT_ONCE) {
      const begun_s = this.time.now_s();
      const good = await Promise.all(frames.slice(at, at + AT_ONCE).map((frame) => this.passes(frame, seal)));
      const bad = good.indexOf(false);
      if (bad >= 0) return at + bad;
      const pause_s = Math.min(PAUSE_MOST_S, Math.max(PAUSE_S, PAUSES * (this.time.now_s() - begun_s)));
      if (at + AT_ONCE < frames.length) await new Promise<void>((done) => this.time.after(pause_s, done));
    }
    return null;
  }

  /** What came so far is good, unless some of it is still being checked. */
  stands(): void {
    if (this.isOver || this.pending > 0 || this.seal === null || this.proof.is !== 'checking') return;
    const { basis, key } = this.proof;
    if (basis !== 'changed') this.proving.trust.keep(key);
    this.say({ is: 'signed', basis, key });
  }

  /** From record `seq` on it isn't what the ship signed. */
  falls(seq: number, why: 'signature' | 'missing'): void {
    this.say({ is: 'altered', seq, why });
  }

  /** Stop whatever goes on. */
  end(): void {
    this.isOver = true;
  }

  private unable(): void {
    if (this.proof.is === 'checking') this.say({ is: 'unchecked', why: 'browser', key: this.proof.key });
  }

  private say(proof: Proof): void {
    this.proof = proof;
    this.tell(this.dive, proof);
  }
}
