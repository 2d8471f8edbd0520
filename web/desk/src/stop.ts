/**
 * The stop: sent at once, and kept until the ship has taken it and has it on her disk.
 *
 * Rules: a press is never lost, and never waits: each is sent in its own moment, also while an earlier one hangs; while
 * the ship doesn't answer it is kept, beyond the page too, and sent again every `AGAIN_S`; a stop that acts but isn't on
 * the disk is still owed, since a relay that is started again would know nothing of it; it is given up only where the
 * ship says that this desk has no right to ask, or somebody has resumed meanwhile; one that is found kept from longer
 * ago than `FRESH_S` isn't sent by itself, but offered with its age; it says at every moment which of these is so.
 */

export const AGAIN_S = 0.5;
/** Between two sendings of a stop that acts already. */
export const ON_DISK_AGAIN_S = 2;
export const FRESH_S = 120;

/** What became of one sending: taken, not taken for a reason, or no answer at all. */
export type Sent =
  | { readonly kind: 'taken'; readonly onDisk: boolean }
  | { readonly kind: 'refused' }
  | { readonly kind: 'unheard'; readonly why: string | null };

export type Stop =
  | { readonly kind: 'none' }
  | { readonly kind: 'sending' }
  | { readonly kind: 'kept'; readonly since_s: number; readonly why: string | null }
  | { readonly kind: 'taken'; readonly at_s: number; readonly onDisk: boolean }
  | { readonly kind: 'offered'; readonly age_s: number }
  | { readonly kind: 'refused' };

export interface StopPorts {
  send(): Promise<Sent>;
  after(delay_s: number, run: () => void): () => void;
  now_s(): number;
  /** Keep beyond the page that a stop is owed, or forget it. */
  keep(owed: boolean): void;
  changed(): void;
}

/** Read what a stop was answered with; null where there was no answer. */
export function readSent(answered: { readonly status: number; readonly value: unknown } | null): Sent {
  if (answered === null) return { kind: 'unheard', why: null };
  if (answered.status === 401 || answered.status === 403) return { kind: 'refused' };
  const told = (answered.value ?? {}) as { readonly [name: string]: unknown };
  const said = (name: string): string | null => (typeof told[name] === 'string' ? told[name] : null);
  if (told.ok !== true) return { kind: 'unheard', why: said('why') };
  // A ship that only says it in words has an objection wherever it isn't on the disk.
  return { kind: 'taken', onDisk: typeof told.on_disk === 'boolean' ? told.on_disk : said('but') === null };
}

export class Stopper {
  stop: Stop = { kind: 'none' };
  private isOwed = false;
  /** Which press is owed: what an earlier one is answered with says nothing of it. */
  private press_ = 0;
  private flying = 0;
  private forget: () => void = () => undefined;

  constructor(private readonly ports: StopPorts) {}

  get owed(): boolean {
    return this.isOwed;
  }

  /** Stop everything. */
  press(): void {
    this.press_ += 1;
    this.owe(true);
    if (this.stop.kind !== 'kept') this.become({ kind: 'sending' });
    void this.send();
  }

  /** A stop was found kept, from so long ago: send it, or ask whether it still holds. */
  found(age_s: number): void {
    if (age_s < FRESH_S) this.press();
    else this.become({ kind: 'offered', age_s });
  }

  /** The stop that was offered isn't wanted any more. */
  dismiss(): void {
    if (this.stop.kind !== 'offered') return;
    this.owe(false);
    this.become({ kind: 'none' });
  }

  /** The ship is there again: send what is kept without waiting. */
  again(): void {
    if (this.stop.kind === 'kept' && this.flying === 0) void this.send();
  }

  /** Somebody has resumed since: what is still owed of the stop would undo that. */
  isUndone(): void {
    if (this.stop.kind === 'taken' && this.isOwed) this.owe(false);
  }

  /** It was resumed from here: there is nothing to say of it any more. */
  isOver(): void {
    if (this.stop.kind !== 'taken') return;
    if (this.isOwed) this.owe(false);
    this.become({ kind: 'none' });
  }

  private async send(): Promise<void> {
    const press = this.press_;
    this.forget();
    this.flying += 1;
    const sent = await this.ports.send();
    this.flying -= 1;
    if (press !== this.press_ || !this.isOwed) return;
    if (sent.kind === 'refused') this.owe(false);
    if (sent.kind === 'taken' && sent.onDisk) this.owe(false);
    this.become(this.after(sent));
    if (this.isOwed) this.forget = this.ports.after(sent.kind === 'taken' ? ON_DISK_AGAIN_S : AGAIN_S, () => void this.send());
  }

  private after(sent: Sent): Stop {
    const { stop } = this;
    if (sent.kind === 'refused') return sent;
    if (sent.kind === 'taken') return { ...sent, at_s: stop.kind === 'taken' ? stop.at_s : this.ports.now_s() };
    // What acted once goes on acting as long as the relay lives; that it lives, nobody says any more.
    return { kind: 'kept', since_s: stop.kind === 'kept' ? stop.since_s : this.ports.now_s(), why: sent.why };
  }

  private owe(owed: boolean): void {
    this.isOwed = owed;
    if (!owed) this.forget();
    this.ports.keep(owed);
  }

  private become(stop: Stop): void {
    this.stop = stop;
    this.ports.changed();
  }
}
