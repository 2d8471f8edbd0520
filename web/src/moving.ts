/**
 * What moves over a drawing without drawing it anew: a mark that is shifted, and a sheet that is uncovered from the left.
 *
 * Rules: only transforms change, so that the browser neither lays out nor paints; edges lie between the pixels of the
 * screen, so that what is uncovered is what was drawn.
 */

import { element } from './dom';
import { Sheet } from './sheet';

/** Shift an element to the right by `x` pixels; one that is there already isn't touched. */
export function moveTo(node: HTMLElement, x: number): void {
  const moved = `translateX(${x}px)`;
  if (node.style.transform !== moved) node.style.transform = moved;
}

/** A sheet over the others of `parent`, of which only what lies to the left of a moment is seen. */
export class Uncovered {
  readonly sheet: Sheet;
  private readonly window: HTMLElement;

  constructor(parent: HTMLElement) {
    this.window = element('div', { class: 'uncovered' });
    parent.append(this.window);
    this.sheet = new Sheet(this.window, false);
  }

  /** Show the sheet as far as `x`: the window is moved over it, and the sheet moved back. */
  upTo(x: number): void {
    const ratio = window.devicePixelRatio || 1;
    const covered = Math.round((this.sheet.width - x) * ratio) / ratio;
    moveTo(this.window, -covered);
    moveTo(this.sheet.canvas, covered);
  }
}
