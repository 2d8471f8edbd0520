/**
 * What the ship streams, one JSON value a line, cut out of chunks that may end anywhere.
 *
 * Rules: pure but for its own memory; a line longer than `LONGEST` characters is refused, so that a stream that never
 * ends a line can't fill the memory; an empty line is passed over.
 */

/** A state is some 60 kB on a full day; a whole day's worth of room above that. */
export const LONGEST = 4_000_000;

export class Overlong extends Error {}

export class Lines {
  private readonly decoder = new TextDecoder();
  private rest = '';

  /** Return the whole lines that `chunk` completes. */
  push(chunk: Uint8Array): string[] {
    const parts = (this.rest + this.decoder.decode(chunk, { stream: true })).split('\n');
    this.rest = parts.pop() ?? '';
    if (this.rest.length > LONGEST) throw new Overlong();
    return parts.filter((line) => line.trim() !== '');
  }
}
