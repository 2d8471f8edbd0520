/**
 * One animation frame for the whole page.
 *
 * Rules: what changed is a set of flags; each view draws only when one of its own is raised, at most once a frame;
 * while nothing changes and nothing plays, no frame is asked for.
 */

import type { State, View } from './state';

export interface Drawn {
  readonly view: View;
  /** The flags this view draws upon. */
  readonly upon: number;
}

export class Frame {
  private dirty = 0;
  private asked = false;

  constructor(
    private readonly request: (run: (now_ms: number) => void) => void,
    /** Called at the start of a frame; returns flags to raise, and whether a further frame is wanted. */
    private readonly step: (now_ms: number) => { raise: number; more: boolean },
    private readonly state: () => State,
    private readonly drawn: readonly Drawn[],
  ) {}

  /** Raise flags; the views that draw upon them draw in the next frame. */
  raise(flags: number): void {
    this.dirty |= flags;
    if (this.asked) return;
    this.asked = true;
    this.request((now_ms) => this.run(now_ms));
  }

  private run(now_ms: number): void {
    this.asked = false;
    const { raise, more } = this.step(now_ms);
    const flags = this.dirty | raise;
    this.dirty = 0;
    const state = this.state();
    for (const { view, upon } of this.drawn) if (upon & flags) view.draw(state);
    if (more) this.raise(0);
  }
}
