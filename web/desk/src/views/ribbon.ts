/**
 * The time ribbon of the desk: what came, what is out at whom, and the interval chosen to be cut.
 *
 * Rules: one slider, by mouse, pen or keyboard; its button to cut is the rail's, beside all else that removes; what is chosen is told in words beside it, with what of it is already
 * out; it only reports what was asked for; a scene that looks as the last isn't drawn again.
 */

import '../drawings.css';
import { element, mark, say, saySet } from '../../../src/dom';
import { widthOf } from '../../../src/paint';
import { chosenOf, drawnTo, intervalOf, markOf, NONE, pressed, takenUp, type Chosen, type Interval } from '../chosen';
import { beforeNow_s, chosenWords, describeRibbon, markWords } from '../describe';
import { drawn } from '../drawn_words';
import { canStillCut } from '../out';
import { Paper, paletteOf } from '../paper';
import { heightOf, sceneOf } from '../scene';
import type { State, Tracks } from '../state';
import { reachOf, shownTime, timeScale } from '../strip';
import { inkStrip, NAME } from '../strip_ink';

export interface Options {
  /** Called whenever another interval is chosen, with null and null where none is any more. */
  readonly onSelect?: (from_us: number | null, to_us: number | null) => void;
  /** Called when the interval chosen is to be cut. */
  readonly onCut: (from_us: number, to_us: number) => void;
}

export interface Ribbon {
  draw(state: State, tracks: Tracks | null): void;
  /** Choose an interval as if it had been dragged, or let go of the one chosen. */
  select(interval: Interval | null): void;
  readonly selected: Interval | null;
  destroy(): void;
}

/** Pixels around the end of an interval in which it is taken hold of. */
const SLOP = 8;

export function create(root: HTMLElement, { onSelect, onCut }: Options): Ribbon {
  const words = drawn.ribbon;
  const help = element('p', { class: 'time-unseen', id: 'time-help' }, words.help);
  const shows = element('p', { class: 'time-unseen', id: 'time-shows' });
  const slider = element('div', { class: 'time-strip', role: 'slider', tabindex: '0', 'aria-label': words.label, 'aria-describedby': 'time-help time-shows' });
  const told = element('p', { class: 'time-told' });
  const letGo = element('button', { type: 'button', class: 'time-let-go' }, words.letGo);
  const parts = [slider, element('div', { class: 'time-chosen' }, told, letGo), help, shows];
  root.append(...parts);

  let state: State | null = null;
  let tracks: Tracks | null = null;
  let chosen: Chosen = NONE;
  const paper = new Paper(slider, false, () => redraw());

  const redraw = (): void => {
    const now = state;
    if (!now) return;
    const palette = paletteOf(slider);
    const pen = paper.pen(palette);
    speak(now);
    if (!pen) return;
    const scene = sceneOf(now, tracks, chosen, pen.width, remembered((text) => widthOf(pen, text, NAME)));
    paper.tall(heightOf(scene));
    paper.renew(palette, [JSON.stringify(scene)], (ready) => inkStrip(ready, scene));
  };

  const speak = (now: State): void => {
    const interval = intervalOf(chosen);
    const reach = reachOf(now);
    const mark_us = markOf(chosen, now.now_us);
    mark(slider, 'aria-valuemin', String(Math.min(beforeNow_s(reach.from_us, now.now_us), beforeNow_s(mark_us, now.now_us))));
    mark(slider, 'aria-valuemax', '0');
    mark(slider, 'aria-valuenow', String(beforeNow_s(mark_us, now.now_us)));
    mark(slider, 'aria-valuetext', markWords(chosen, now));
    say(shows, describeRibbon(now, tracks));
    saySet(told, chosenWords(chosen, now));
    letGo.hidden = !interval;
  };

  const choose = (next: Chosen): void => {
    const [before, after] = [intervalOf(chosen), intervalOf(next)];
    chosen = next;
    if (before?.from_us !== after?.from_us || before?.to_us !== after?.to_us) onSelect?.(after?.from_us ?? null, after?.to_us ?? null);
    redraw();
  };

  const cutNow = (): void => {
    const interval = intervalOf(chosen);
    if (!interval || !state || !canStillCut(interval, state.audiences)) return;
    onCut(interval.from_us, interval.to_us);
    choose({ mark_us: chosen.mark_us, stays_us: null });
  };

  slider.addEventListener('keydown', (event) => {
    if (!state || event.ctrlKey || event.altKey || event.metaKey) return;
    const next = pressed(chosen, { key: event.key, shift: event.shiftKey }, reachOf(state));
    if (next === null) return;
    event.preventDefault();
    event.stopPropagation();
    if (next === 'cut') cutNow();
    else choose(next);
  });
  dragged(slider, paper, () => state, () => chosen, choose);
  letGo.addEventListener('click', () => {
    choose(NONE);
    slider.focus();
  });

  return {
    draw(next, nextTracks): void {
      [state, tracks] = [next, nextTracks];
      redraw();
    },
    select: (interval) => choose(interval ? chosenOf(interval) : NONE),
    get selected() {
      return intervalOf(chosen);
    },
    destroy(): void {
      paper.destroy();
      for (const part of parts) part.remove();
    },
  };
}

/** Measure each text once: seats are tried many times over. */
function remembered(measure: (text: string) => number): (text: string) => number {
  const known = new Map<string, number>();
  return (text) => {
    const width = known.get(text) ?? measure(text);
    known.set(text, width);
    return width;
  };
}

/** Let an interval be chosen by dragging with mouse, pen or finger. */
function dragged(slider: HTMLElement, paper: Paper, state: () => State | null, chosen: () => Chosen, choose: (next: Chosen) => void): void {
  const at_us = (event: PointerEvent, now: State): { at_us: number; slop_us: number } => {
    const { left, width } = paper.canvas.getBoundingClientRect();
    const time = timeScale(shownTime(now), width);
    return { at_us: time.from(event.clientX - left), slop_us: time.from(SLOP) - time.from(0) };
  };
  slider.addEventListener('pointerdown', (event) => {
    const now = state();
    if (!now || event.button !== 0) return;
    slider.setPointerCapture(event.pointerId);
    const at = at_us(event, now);
    choose(takenUp(chosen(), at.at_us, at.slop_us, reachOf(now)));
  });
  slider.addEventListener('pointermove', (event) => {
    const now = state();
    if (!now || !(event.buttons & 1) || !slider.hasPointerCapture(event.pointerId)) return;
    choose(drawnTo(chosen(), at_us(event, now).at_us, reachOf(now)));
  });
}
