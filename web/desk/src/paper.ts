/**
 * Paper of the desk: a canvas that fits its place, in the inks of the style sheet of day or night.
 *
 * Rules: colours and type come from custom properties alone (`--ink --ground --faint --accent --warn --held`; paler
 * tones that the style sheet doesn't name are mixed from ink and ground), so that night needs no other drawing; what would look the same isn't drawn again; a
 * place that changes its size is told to whoever draws.
 */

import { element, mark } from '../../src/dom';
import type { Ink, Pen } from '../../src/paint';

export interface DeskInk extends Ink {
  readonly warn: string;
  readonly held: string;
}

export interface DeskPen extends Pen {
  readonly ink: DeskInk;
}

const mixed = (ink: string, ground: string, percent: number): string => `color-mix(in srgb, ${ink} ${percent}%, ${ground})`;

function inkOf(canvas: HTMLCanvasElement): DeskInk {
  const style = getComputedStyle(canvas);
  const read = (name: string, otherwise: string): string => style.getPropertyValue(name).trim() || otherwise;
  const [line, paper] = [read('--ink', 'CanvasText'), read('--ground', 'Canvas')];
  return {
    line,
    paper,
    soft: read('--soft', mixed(line, paper, 74)),
    hair: read('--faint', mixed(line, paper, 22)),
    wash: read('--wash', mixed(line, paper, 10)),
    accent: read('--accent', line),
    warn: read('--warn', line),
    held: read('--held', line),
    serif: read('--serif', style.fontFamily),
    figures: read('--figures', style.fontFamily),
  };
}

interface Fitted {
  readonly width: number;
  readonly height: number;
  readonly ratio: number;
  readonly rem: number;
  readonly ink: DeskInk;
}

export class Paper {
  readonly canvas: HTMLCanvasElement;
  private readonly context: CanvasRenderingContext2D | null;
  private readonly watch: ResizeObserver;
  private asked = 0;
  private made: readonly unknown[] = [];

  /** A canvas in `parent`; decorative where something else speaks for it. `resized` is called when its place has changed. */
  constructor(parent: HTMLElement, spoken: boolean, resized: () => void) {
    this.canvas = element('canvas', spoken ? { role: 'img' } : { 'aria-hidden': 'true' });
    this.context = this.canvas.getContext('2d');
    parent.append(this.canvas);
    // In the next frame: to change a height while sizes are told would be told as an error.
    this.watch = new ResizeObserver(() => {
      cancelAnimationFrame(this.asked);
      this.asked = requestAnimationFrame(resized);
    });
    this.watch.observe(this.canvas);
  }

  label(text: string): void {
    mark(this.canvas, 'aria-label', text);
  }

  /** Let the paper be so many pixels high. */
  tall(height: number): void {
    const told = `${height}px`;
    if (this.canvas.style.height !== told) this.canvas.style.height = told;
  }

  /** Return the pen as it is before anything is drawn, to measure with; null while there is no place to draw in. */
  pen(): DeskPen | null {
    return this.context && penOf(this.context, this.place());
  }

  /** Draw on blank paper, unless what the drawing is made of, the values `of`, and its place are what they were. */
  renew(of: readonly unknown[], draw: (pen: DeskPen) => void): void {
    const { canvas, context } = this;
    const place = this.place();
    const pen = context && penOf(context, place);
    if (!context || !pen) return;
    const made = [JSON.stringify(place), ...of];
    if (made.length === this.made.length && made.every((value, i) => Object.is(value, this.made[i]))) return;
    this.made = made;
    fit(canvas, Math.round(place.width * place.ratio), Math.round(place.height * place.ratio));
    context.setTransform(place.ratio, 0, 0, place.ratio, 0, 0);
    context.clearRect(0, 0, place.width, place.height);
    context.lineJoin = 'round';
    draw(pen);
  }

  destroy(): void {
    this.watch.disconnect();
    cancelAnimationFrame(this.asked);
    this.canvas.remove();
  }

  private place(): Fitted {
    const { clientWidth: width, clientHeight: height } = this.canvas;
    const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
    return { width, height, ratio: window.devicePixelRatio || 1, rem, ink: inkOf(this.canvas) };
  }
}

function penOf(context: CanvasRenderingContext2D, { width, height, ink, rem }: Fitted): DeskPen | null {
  return width === 0 || height === 0 ? null : { context, width, height, ink, rem };
}

function fit(canvas: HTMLCanvasElement, width: number, height: number): void {
  if (canvas.width !== width) canvas.width = width;
  if (canvas.height !== height) canvas.height = height;
}
