/**
 * The stop: sent at once, and kept until the ship has taken it.
 *
 * Rules: a press is never lost: while the ship doesn't answer it is kept, over a reload of the page too, and sent again
 * every `AGAIN_S`; it is given up only where the ship says that this desk has no right to ask; it says at every moment
 * which of these is so. A stop that was pressed again while one is on its way is that stop.
 */

export const AGAIN_S = 0.5;

/** What became of one sending: taken, not taken for a reason, or no answer at all. */
export type Sent = { readonly kind: 'taken'; readonly but: string | null } | { readonly kind: 'refused' } | { readonly kind: 'unheard'; readonly why: string | null };

export type Stop =
  | { readonly kind: 'none' }
  | { readonly kind: 'sending' }
  | { readonly kind: 'kept'; readonly since_s: number; readonly why: string | null }
  | { readonly kind: 'taken'; readonly at_s: number; readonly but: string | null }
  | { readonly kind: 'refused' };

export interface StopPorts {
  send(): Promise<Sent>;
  after(delay_s: number, run: () => void): () => void;
  now_s(): number;
  /** Keep over a reload that a stop is owed, or forget it. */
  keep(owed: boolean): void;
  changed(): void;
}

export class Stopper {
  stop: Stop = { kind: 'none' };
  private isSending = false;
  private forget: () => void = () => undefined;

  constructor(private readonly ports: StopPorts) {}

  /** Stop everything. */
  press(): void {
    this.ports.keep(true);
    if (this.stop.kind !== 'kept') this.become({ kind: 'sending' });
    void this.send();
  }

  /** The ship is there again: send what is kept without waiting. */
  again(): void {
    if (this.stop.kind === 'kept') void this.send();
  }

  private async send(): Promise<void> {
    if (this.isSending) return;
    this.isSending = true;
    this.forget();
    const sent = await this.ports.send();
    this.isSending = false;
    if (sent.kind === 'unheard') this.wait(sent.why);
    else {
      this.ports.keep(false);
      this.become(sent.kind === 'refused' ? sent : { kind: 'taken', at_s: this.ports.now_s(), but: sent.but });
    }
  }

  private wait(why: string | null): void {
    const since_s = this.stop.kind === 'kept' ? this.stop.since_s : this.ports.now_s();
    this.become({ kind: 'kept', since_s, why });
    this.forget = this.ports.after(AGAIN_S, () => void this.send());
  }

  private become(stop: Stop): void {
    this.stop = stop;
    this.ports.changed();
  }
}
