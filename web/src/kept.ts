/**
 * A drawing that only grows with the moment, kept at a few moments, so that going to another needs little drawing.
 *
 * Rules: it is made in pieces of equally many ticks, each drawn over the ones before; a picture is whole pieces and the
 * begin of one more, whether it is drawn from the start or from a picture that was kept, so both are the same to the
 * pixel; what is kept is bounded in octets.
 */

import type { Pen } from './paint';

/** How much all pictures that are kept may take. */
const MOST_OCTETS = 32_000_000;
const MOST_PIECES = 16;
const LEAST_TICKS = 256;

/** Draw what the ticks past `after`, up to `upTo`, add to each layer. */
export type Add = (layers: readonly Pen[], after: number, upTo: number) => void;

/** Pictures of whole pieces, the lowest layer first, and the last tick they have. */
export interface Whole {
  readonly layers: readonly HTMLCanvasElement[];
  readonly after: number;
}

/** Return how many ticks make a piece, so that a dive of `count` has few enough pieces to keep a picture of each. */
export function pieceOf(count: number, octets: number): number {
  const most = Math.min(MOST_PIECES, Math.max(1, Math.floor(MOST_OCTETS / Math.max(1, octets))));
  let ticks = LEAST_TICKS;
  while (ticks * most < count) ticks *= 2;
  return ticks;
}

/** The octets of one picture of so many layers. */
export function octetsOf(pen: Pen, layers: number): number {
  const { width, height } = pen.context.canvas;
  return 4 * width * height * layers;
}

export class Kept {
  /** The layers as they are after each piece. */
  private readonly pictures: (readonly Pen[])[] = [];

  /** `layers` lie over each other and are as large as the sheet of `pen`; a piece is `ticks` long. */
  constructor(private readonly pen: Pen, private readonly layers: number, private readonly ticks: number, private readonly add: Add) {}

  /** Return the pieces that are whole at tick `at`, drawing those that weren't drawn yet. */
  before(at: number): Whole {
    const { pictures, ticks } = this;
    const whole = Math.floor((at + 1) / ticks);
    for (let piece = pictures.length; piece < whole; piece += 1) {
      const next = Array.from({ length: this.layers }, (_, n) => beside(this.pen, pictures[piece - 1]?.[n]));
      this.add(next, piece * ticks - 1, (piece + 1) * ticks - 1);
      pictures.push(next);
    }
    return { layers: (pictures[whole - 1] ?? []).map(({ context }) => context.canvas), after: whole * ticks - 1 };
  }
}

/** A sheet of the same size that isn't shown, with what `other` has. */
function beside(pen: Pen, other: Pen | undefined): Pen {
  const { width, height } = pen.context.canvas;
  const context = Object.assign(document.createElement('canvas'), { width, height }).getContext('2d');
  if (!context) throw new Error('no more canvases');
  if (other) context.drawImage(other.context.canvas, 0, 0);
  context.setTransform(pen.context.getTransform());
  context.lineJoin = 'round';
  return { ...pen, context };
}
