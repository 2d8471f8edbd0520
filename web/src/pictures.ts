/**
 * The addresses under which a browser shows stills.
 *
 * Rules: how an address is made and given back is passed in; a still has one address however often it is shown, and
 * gets it only when it is; each is given back once, all of them when the dive that holds the stills is left.
 */

import type { Still } from './decode';

export interface Addresses {
  make(jpeg: Uint8Array<ArrayBuffer>): string;
  giveBack(address: string): void;
}

export class Pictures {
  private readonly made = new Map<Still, string>();

  constructor(private readonly addresses: Addresses) {}

  /** Return the address of a still; the same until it is given back. */
  of(still: Still): string {
    const known = this.made.get(still);
    if (known !== undefined) return known;
    const address = this.addresses.make(still.jpeg);
    this.made.set(still, address);
    return address;
  }

  giveBack(): void {
    for (const address of this.made.values()) this.addresses.giveBack(address);
    this.made.clear();
  }
}
