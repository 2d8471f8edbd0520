/**
 * Paper of the desk: a canvas that fits its place, in the inks of the style sheet of day or night.
 *
 * Rules: colours and type come from custom properties alone (`--ink --ground --faint --accent --warn --held`; paler
 * tones that the style sheet doesn't name are mixed from ink and ground), so that night needs no other drawing; what
 * would look the same isn't drawn again; inks are asked for once for all papers of a view, and sizes never: to ask the
 * browser makes it lay the page out, so it tells them by itself.
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

/** What every paper of one view is drawn with. */
export interface Palette {
  readonly ink: DeskInk;
  /** Pixels of one rem. */
  readonly rem: number;
  /** Pixels of the screen in one of the page. */
  readonly ratio: number;
  /** Equal for palettes that look the same. */
  readonly key: string;
}

/** Return the palette of a part of the page as it is now. */
export function paletteOf(part: HTMLElement): Palette {
  const style = getComputedStyle(part);
  const read = (name: string, otherwise: string): string => style.getPropertyValue(name).trim() || otherwise;
  const [line, paper] = [read('--ink', 'CanvasText'), read('--ground', 'Canvas')];
  const ink = {
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
  const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
  const ratio = window.devicePixelRatio || 1;
  return { ink, rem, ratio, key: [...Object.values(ink), rem, ratio].join('|') };
}

export class Paper {
  readonly canvas: HTMLCanvasElement;
  private readonly context: CanvasRenderingContext2D | null;
  private readonly watch: ResizeObserver;
  private size: { readonly width: number; readonly height: number } | null = null;
  private asked = 0;
  private made: readonly unknown[] = [];

  /** A canvas in `parent`; decorative where something else speaks for it. `resized` is called when its place is known or has changed. */
  constructor(parent: HTMLElement, spoken: boolean, resized: () => void) {
    this.canvas = element('canvas', spoken ? { role: 'img' } : { 'aria-hidden': 'true' });
    this.context = this.canvas.getContext('2d');
    parent.append(this.canvas);
    this.watch = new ResizeObserver((entries) => {
      const { width = 0, height = 0 } = entries[entries.length - 1]?.contentRect ?? {};
      this.size = width > 0 && height > 0 ? { width, height } : null;
      // In the next frame: to change a height while sizes are told would be told as an error.
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
    if (this.size) this.size = { ...this.size, height };
  }

  /** Return the pen as it is before anything is drawn, to measure with; null while there is no place to draw in. */
  pen({ ink, rem }: Palette): DeskPen | null {
    return this.context && this.size && { context: this.context, ...this.size, ink, rem };
  }

  /** Draw on blank paper, unless what the drawing is made of, the values `of`, its inks and its place are what they were. */
  renew(palette: Palette, of: readonly unknown[], draw: (pen: DeskPen) => void): void {
    const { canvas } = this;
    const pen = this.pen(palette);
    if (!pen) return;
    const { context, width, height } = pen;
    const { ratio } = palette;
    const made = [palette.key, width, height, ...of];
    if (made.length === this.made.length && made.every((value, i) => Object.is(value, this.made[i]))) return;
    this.made = made;
    fit(canvas, Math.round(width * ratio), Math.round(height * ratio));
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.clearRect(0, 0, width, height);
    context.lineJoin = 'round';
    draw(pen);
  }

  destroy(): void {
    this.watch.disconnect();
    cancelAnimationFrame(this.asked);
    this.canvas.remove();
  }
}

function fit(canvas: HTMLCanvasElement, width: number, height: number): void {
  if (canvas.width !== width) canvas.width = width;
  if (canvas.height !== height) canvas.height = height;
}
