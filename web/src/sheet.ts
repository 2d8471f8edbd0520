/**
 * Paper: a canvas that fits its place, in the inks of the style sheet.
 *
 * Rules: colours and type come from the style sheet alone; a drawing is made out of sight and then handed over whole,
 * where the browser can do so: it copies a canvas that is drawn on at every frame of the page, changed or not, but a
 * picture that was handed over only once; and what would look the same isn't drawn again.
 */

import { element, mark } from './dom';
import type { Ink, Pen } from './paint';

const INKS: Readonly<Record<keyof Ink, string>> = {
  line: '--ink',
  soft: '--soft',
  hair: '--hair',
  wash: '--wash',
  accent: '--accent',
  paper: '--paper',
  serif: '--serif',
  figures: '--figures',
};

let generation = 0;

/** Let every sheet be measured anew before it is drawn next: its size, its inks or the reader's text size may differ. */
export function remeasure(): void {
  generation += 1;
}

/** Where a drawing is made, and how it comes to be seen. */
interface Ground {
  readonly context: CanvasRenderingContext2D;
  show(): void;
}

interface Fitted {
  readonly width: number;
  readonly height: number;
  readonly ink: Ink;
  readonly rem: number;
}

/** A canvas in `parent`; decorative where something else speaks for it. */
export class Sheet {
  readonly canvas: HTMLCanvasElement;
  private readonly ground: Ground | null;
  private made: readonly unknown[] = [];
  private fitted: Fitted | null = null;
  private measured = NaN;

  constructor(parent: HTMLElement, spoken: boolean) {
    this.canvas = element('canvas', spoken ? { role: 'img' } : { 'aria-hidden': 'true' });
    this.ground = groundFor(this.canvas);
    parent.append(this.canvas);
  }

  /** The width of its place in pixels, as it was measured for what was drawn last. */
  get width(): number {
    return this.fitted?.width ?? 0;
  }

  label(text: string): void {
    mark(this.canvas, 'aria-label', text);
  }

  /** Draw on blank paper, unless what the drawing is made of, the values `of`, is what it was the last time. */
  renew(of: readonly unknown[], draw: (pen: Pen) => void): void {
    const made = [this.place(), window.devicePixelRatio, ...of];
    if (made.length === this.made.length && made.every((value, i) => Object.is(value, this.made[i]))) return;
    this.made = this.anew(draw) ? made : [];
  }

  /** Draw on blank paper; false while there is no place for it. */
  anew(draw: (pen: Pen) => void): boolean {
    const { canvas, ground } = this;
    const place = this.place();
    if (!place || !ground) return false;
    const { width, height, ink, rem } = place;
    const { context } = ground;
    const ratio = window.devicePixelRatio || 1;
    for (const one of new Set([canvas, context.canvas])) fit(one, Math.round(width * ratio), Math.round(height * ratio));
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.clearRect(0, 0, width, height);
    context.lineJoin = 'round';
    draw({ context, width, height, ink, rem });
    ground.show();
    return true;
  }

  /**
   * The place as it is now, the same value while it stays as it was. To ask the browser makes it lay the page out, so
   * it isn't asked at every frame.
   */
  private place(): Fitted | null {
    if (this.fitted !== null && this.measured === generation) return this.fitted;
    this.measured = generation;
    const { clientWidth: width, clientHeight: height } = this.canvas;
    const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
    const now = width === 0 || height === 0 ? null : { width, height, ink: inkOf(this.canvas), rem };
    if (JSON.stringify(now) !== JSON.stringify(this.fitted)) this.fitted = now;
    return this.fitted;
  }
}

/** Out of sight where the browser can hand a picture over, else on the canvas itself; null where it has no more canvases. */
function groundFor(canvas: HTMLCanvasElement): Ground | null {
  const hidden = typeof OffscreenCanvas === 'function' ? new OffscreenCanvas(1, 1) : null;
  // What is drawn out of sight is drawn with the same calls.
  const context = (hidden?.getContext('2d') ?? null) as unknown as CanvasRenderingContext2D | null;
  const screen = context === null ? null : canvas.getContext('bitmaprenderer');
  if (hidden && context && screen) return { context, show: () => screen.transferFromImageBitmap(hidden.transferToImageBitmap()) };
  const seen = canvas.getContext('2d');
  return seen && { context: seen, show: () => {} };
}

function fit(canvas: HTMLCanvasElement, width: number, height: number): void {
  if (canvas.width !== width) canvas.width = width;
  if (canvas.height !== height) canvas.height = height;
}

function inkOf(canvas: HTMLCanvasElement): Ink {
  const style = getComputedStyle(canvas);
  const read = Object.entries(INKS).map(([name, property]) => [name, style.getPropertyValue(property).trim()]);
  return Object.fromEntries(read) as unknown as Ink;
}
