/**
 * Turning a drawing by pointer, by touch and by keyboard.
 *
 * Rules: what is done is all that happens: nothing turns on by itself; a finger that moves up or down goes on scrolling
 * the page, two fingers go nearer and tip; the wheel scrolls the page unless Ctrl is held, as for zooming elsewhere.
 */

import { moved, moveOf, nearer, turned, type Turn } from './camera';

const DEG_PER_PIXEL = 0.4;

type Spot = readonly [x: number, y: number];

/** Hear what is done to `root`, and call `turn` with each change; the result ends it. */
export function hearTurning(root: HTMLElement, turn: (change: (turn: Turn) => Turn) => void): () => void {
  const ended = new AbortController();
  const { signal } = ended;
  const down = new Map<number, Spot>();
  root.addEventListener('keydown', (event) => {
    const move = event.ctrlKey || event.altKey || event.metaKey ? null : moveOf(event.key);
    if (move === null) return;
    event.preventDefault();
    turn((now) => moved(now, move));
  }, { signal });
  root.addEventListener('pointerdown', (event) => {
    down.set(event.pointerId, [event.clientX, event.clientY]);
    root.setPointerCapture(event.pointerId);
  }, { signal });
  root.addEventListener('pointermove', (event) => {
    const before = down.get(event.pointerId);
    if (!before) return;
    const spot: Spot = [event.clientX, event.clientY];
    const other = [...down].find(([id]) => id !== event.pointerId)?.[1];
    down.set(event.pointerId, spot);
    const fingers = other ? apart(spot, other) / Math.max(1, apart(before, other)) : 1;
    const share = other ? 0.5 : 1;
    turn((now) => nearer(turned(now, share * DEG_PER_PIXEL * (before[0] - spot[0]), share * DEG_PER_PIXEL * (spot[1] - before[1])), fingers));
  }, { signal });
  for (const end of ['pointerup', 'pointercancel'] as const) root.addEventListener(end, (event) => down.delete(event.pointerId), { signal });
  root.addEventListener('wheel', (event) => {
    if (!event.ctrlKey) return;
    event.preventDefault();
    turn((now) => nearer(now, Math.exp(-event.deltaY / 300)));
  }, { signal, passive: false });
  return () => ended.abort();
}

const apart = (one: Spot, other: Spot): number => Math.hypot(one[0] - other[0], one[1] - other[1]);
