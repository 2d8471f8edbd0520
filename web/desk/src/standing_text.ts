/**
 * A field that shows what stands on the ship until somebody types in it.
 *
 * Rules: pure; what was typed is never overwritten until it was sent; what wasn't touched follows the ship, so that a
 * countdown goes on counting while the form stands open.
 */

import { span } from './figures';
import type { Programme } from './state';

/** What a field of text offers; as an input element does. */
export interface Typed {
  value: string;
  addEventListener(kind: 'input', told: () => void): void;
}

export class StandingText {
  private isTouched = false;

  constructor(private readonly input: Typed) {
    input.addEventListener('input', () => (this.isTouched = true));
  }

  /** Show what stands on the ship, unless somebody has typed, or is in the field. */
  show(text: string, hasFocus: boolean): void {
    if (!this.isTouched && !hasFocus && this.input.value !== text) this.input.value = text;
  }

  /** Empty it, as if somebody had. */
  clear(): void {
    [this.input.value, this.isTouched] = ['', true];
  }

  /** What was typed was sent: from now on it follows the ship again. */
  sent(): void {
    this.isTouched = false;
  }
}

/** Return what is left of the time until the next dive, in words; '' where nothing was told of it. */
export function leftWords({ next_dive_in_s, told_us }: Programme, now_us: number): string {
  if (next_dive_in_s === null) return '';
  const passed_s = told_us === null ? 0 : Math.max(0, (now_us - told_us) / 1e6);
  return span(Math.max(0, next_dive_in_s - passed_s));
}
