/**
 * One animation frame for the whole page.
 *
 * Rules: what changed is a set of flags; each view draws only when one of its own is raised, at most once a frame;
 * while nothing changes and nothing plays, no frame is asked for. Once a frame has taken its time, views whose turn
 * hasn't come wait for the next, and come first there: a slow phone shows every view a little later, none never. Views
 * that are prompt wait for nothing: the mark under the reader's finger stays under it.
 */

import type { State, View } from './state';

export interface Drawn {
  readonly view: View;
  /** The flags this view draws upon. */
  readonly upon: number;
  /** Draws in the very frame in which its flags are raised. */
  readonly prompt?: boolean;
}

/**
 * How long the drawing of one frame may take before the rest waits, in milliseconds: a third of a sixtieth of a second,
 * since the browser needs as much again to lay out and paint what was drawn.
 */
export const BUDGET_MS = 6;

export class Frame {
  private dirty = 0;
  private asked = false;
  /** Views to draw, the longest owed first. */
  private readonly owed = new Set<Drawn>();
  /** How long each view took the last time, in milliseconds. */
  private readonly took_ms = new WeakMap<Drawn, number>();

  constructor(
    private readonly request: (run: (now_ms: number) => void) => void,
    /** Called at the start of a frame; returns flags to raise, and whether a further frame is wanted. */
    private readonly step: (now_ms: number) => { raise: number; more: boolean },
    private readonly state: () => State,
    private readonly drawn: readonly Drawn[],
    private readonly clock_ms: () => number = () => 0,
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
    for (const drawn of this.drawn) if (drawn.upon & flags) this.owed.add(drawn);
    this.drawOwed();
    if (more || this.owed.size > 0) this.raise(0);
  }

  /** Draw what is owed, the longest owed first, at least one view and as many as there is time for, going by the last time. */
  private drawOwed(): void {
    const state = this.state();
    const begun_ms = this.clock_ms();
    const inTurn = [...this.owed].filter(({ prompt }) => !prompt);
    for (const drawn of [...this.owed].filter(({ prompt }) => prompt)) this.drawOne(drawn, state);
    for (const drawn of inTurn) {
      const spent_ms = this.clock_ms() - begun_ms;
      if (drawn !== inTurn[0] && spent_ms + (this.took_ms.get(drawn) ?? 0) >= BUDGET_MS) return;
      this.drawOne(drawn, state);
    }
  }

  private drawOne(drawn: Drawn, state: State): void {
    const begun_ms = this.clock_ms();
    this.owed.delete(drawn);
    if (this.drawn.includes(drawn)) drawn.view.draw(state);
    this.took_ms.set(drawn, this.clock_ms() - begun_ms);
  }
}
