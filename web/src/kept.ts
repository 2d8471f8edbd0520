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
  private readonly layers: readonly Pen[];
  /** The layers as they are after each piece. */
  private readonly pictures: (readonly HTMLCanvasElement[])[] = [];
  private at = -1;

  /** `layers` lie over each other and are as large as the sheet of `pen`; a piece is `ticks` long. */
  constructor(pen: Pen, layers: number, readonly ticks: number, private readonly add: Add) {
    this.layers = Array.from({ length: layers }, () => beside(pen));
  }

  /** Return the layers, the lowest first, as they are at tick `at`. */
  upTo(at: number): readonly HTMLCanvasElement[] {
    if (at !== this.at) this.draw(at);
    this.at = at;
    return this.layers.map(({ context }) => context.canvas);
  }

  private draw(at: number): void {
    const { layers, pictures, ticks } = this;
    const whole = Math.floor((at + 1) / ticks);
    const from = Math.min(whole, pictures.length);
    layers.forEach(({ context }, n) => replace(context, pictures[from - 1]?.[n]));
    for (let piece = from; piece < whole; piece += 1) {
      this.add(layers, piece * ticks - 1, (piece + 1) * ticks - 1);
      pictures.push(layers.map(({ context }) => copyOf(context.canvas)));
    }
    this.add(layers, whole * ticks - 1, at);
  }
}

/** A sheet of the same size that isn't shown. */
function beside(pen: Pen): Pen {
  const { width, height } = pen.context.canvas;
  const context = contextOf(width, height);
  context.setTransform(pen.context.getTransform());
  context.lineJoin = 'round';
  return { ...pen, context };
}

function contextOf(width: number, height: number): CanvasRenderingContext2D {
  const context = Object.assign(document.createElement('canvas'), { width, height }).getContext('2d');
  if (!context) throw new Error('no more canvases');
  return context;
}

function copyOf(canvas: HTMLCanvasElement): HTMLCanvasElement {
  const copy = contextOf(canvas.width, canvas.height);
  copy.drawImage(canvas, 0, 0);
  return copy.canvas;
}

function replace(context: CanvasRenderingContext2D, picture: HTMLCanvasElement | undefined): void {
  const { width, height } = context.canvas;
  context.save();
  context.resetTransform();
  context.clearRect(0, 0, width, height);
  if (picture) context.drawImage(picture, 0, 0);
  context.restore();
}
