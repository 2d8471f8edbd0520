/**
 * The time of the dive as a slider: legs, silence, numbered notes, targets, and the moment shown.
 *
 * Rules: legs and clock are drawn anew only when something came, notes and targets when one of them comes to lie before
 * the moment or beyond it; the moment itself is a mark that is moved.
 */

import { ribbonValue } from '../describe';
import { element, mark } from '../dom';
import * as format from '../format';
import { keyedOnRibbon } from '../keys';
import { moveTo } from '../moving';
import { crisp, cross, hatch, line, shorten, timeAxis, widthOf, write, type Pen } from '../paint';
import { clockStep, multiples, timeEnd, type Linear } from '../scale';
import { Sheet } from '../sheet';
import type { Act, State, View } from '../state';
import type { Dive, Track } from '../store';
import { words } from '../words';

const NOTES = 24;
const TARGETS = 14;
const ROW = 20;
const AXIS = 22;

export function create(root: HTMLElement, act: Act): View {
  const slider = element('div', {
    class: 'ribbon',
    role: 'slider',
    tabindex: '0',
    'aria-label': words.ribbon.label,
    'aria-describedby': 'ribbon-help',
    'aria-valuemin': '0',
  });
  root.append(slider, element('p', { id: 'ribbon-help', class: 'unseen' }, words.ribbon.help));
  const sheet = new Sheet(slider, false);
  const head = element('div', { class: 'head' });
  const flags = new Sheet(head, false);
  const moment = element('div', { class: 'moment handle' });
  slider.append(head, moment);
  let time: TimeAxis | null = null;
  let dive: Dive | null = null;
  slider.addEventListener('pointerdown', (event) => {
    slider.setPointerCapture(event.pointerId);
    seek(event);
  });
  slider.addEventListener('pointermove', (event) => seek(event));
  slider.addEventListener('keydown', (event) => {
    const press = { key: event.key, shift: event.shiftKey, other: event.ctrlKey || event.altKey || event.metaKey, repeat: event.repeat };
    const action = keyedOnRibbon(press, dive?.end_s ?? 0);
    if (!action) return;
    event.preventDefault();
    act(action);
  });
  const seek = (event: PointerEvent): void => {
    if (!time || !(event.buttons & 1)) return;
    act({ do: 'seek', at_s: time.from(event.clientX - slider.getBoundingClientRect().left) });
  };
  return {
    draw(state: State): void {
      dive = state.dive;
      if (!dive) return;
      const rows = headOf(dive) + ROW * dive.tracks.length;
      tall(head, headOf(dive));
      tall(moment, rows);
      tall(slider, rows + AXIS);
      mark(slider, 'aria-valuemax', String(Math.round(dive.end_s)));
      mark(slider, 'aria-valuenow', String(Math.round(state.playhead.at_s)));
      mark(slider, 'aria-valuetext', ribbonValue(state));
      const { at_s } = state.playhead;
      const shown = dive;
      sheet.renew([shown, shown.seq], (pen) => (time = still(pen, shown)));
      if (!time) return;
      const at = time;
      flags.renew([shown, shown.seq, due(shown.notes, at_s), due(shown.targets, at_s)], (pen) => {
        notes(pen, shown, at, at_s);
        targets(pen, shown, at, at_s);
      });
      moveTo(moment, Math.round(time.to(at_s)));
    },
    destroy: () => root.replaceChildren(),
  };
}

function tall(node: HTMLElement, height: number): void {
  const told = `${height}px`;
  if (node.style.height !== told) node.style.height = told;
}

/** How many of what was told lie beyond a moment. */
function due(told: readonly { readonly elapsed_s: number }[], at_s: number): number {
  return told.reduce((count, { elapsed_s }) => count + (elapsed_s > at_s ? 1 : 0), 0);
}

/** Draw what doesn't depend on the moment shown, and return where its times are. */
function still(pen: Pen, dive: Dive): TimeAxis {
  const { tracks } = dive;
  const top = headOf(dive);
  const time = timeAxis(pen, timeEnd(dive.end_s, dive.over));
  tracks.forEach((track, vehicle) => legs(pen, dive, track, time, top + vehicle * ROW));
  clockAxis(pen, dive, time);
  notYet(pen, time.to(dive.end_s), time.right, top + (ROW * tracks.length - 4) / 2);
  return time;
}

/** What stands above the rows of the vehicles: numbered notes, and a row for targets where there are any. */
function headOf(dive: Dive): number {
  return NOTES + (dive.targets.length > 0 ? TARGETS : 0);
}

type TimeAxis = ReturnType<typeof timeAxis>;
type Stretch = ReturnType<Track['leg']> | 'silent';

function stretchAt(track: Track, i: number): Stretch {
  return track.heard(i) ? track.leg(i) : 'silent';
}

/** One row per vehicle: what it was doing, in words where they fit and in hatching always. */
function legs(pen: Pen, dive: Dive, track: Track, time: TimeAxis, top: number): void {
  const lettering = { face: 'serif', size: 0.875 } as const;
  const name = shorten(pen, track.name, time.left - 10, lettering);
  write(pen, name, time.left - 8, top + (ROW - 4) / 2, { ...lettering, align: 'right', baseline: 'middle' });
  let start = 0;
  for (let i = 1; i <= dive.count; i += 1) {
    if (i < dive.count && stretchAt(track, i) === stretchAt(track, start)) continue;
    const end_s = i < dive.count ? (dive.elapsed_s[i] as number) : dive.end_s;
    stretch(pen, stretchAt(track, start), time.to(dive.elapsed_s[start] as number), time.to(end_s), top);
    start = i;
  }
}

function stretch(pen: Pen, kind: Stretch, left: number, right: number, top: number): void {
  const { context, ink } = pen;
  const height = ROW - 4;
  const width = Math.max(1, right - left);
  context.save();
  context.beginPath();
  context.rect(left, top, width, height);
  context.clip();
  if (kind === 'bottom') {
    context.fillStyle = ink.wash;
    context.fillRect(left, top, width, height);
  }
  if (kind === 'descent' || kind === 'ascent') hatch(pen, left, right, top, height, kind === 'descent' ? 1 : -1, 6);
  context.restore();
  if (kind === 'silent') line(pen, left, top + height / 2, right, top + height / 2, ink.hair);
  else {
    context.strokeStyle = ink.line;
    context.lineWidth = 1;
    context.strokeRect(crisp(left), crisp(top), Math.round(width), height);
  }
  const text = kind === 'silent' ? words.ribbon.silent : words.ribbon.legs[kind ?? 'none'];
  const lettering = { face: 'serif', italic: true, size: 0.8125 } as const;
  if (text !== '' && widthOf(pen, text, lettering) + 12 < width) {
    write(pen, text, (left + right) / 2, top + height / 2, { ...lettering, align: 'center', baseline: 'middle' });
  }
}

/** Paper that is still blank, where there is room to say so. */
function notYet(pen: Pen, left: number, right: number, y: number): void {
  const lettering = { face: 'serif', italic: true, size: 0.875 } as const;
  if (right - left < widthOf(pen, words.ribbon.notYet, lettering) + 24) return;
  write(pen, words.ribbon.notYet, (left + right) / 2, y, { ...lettering, align: 'center', baseline: 'middle', style: pen.ink.soft });
}

function clockAxis(pen: Pen, dive: Dive, time: TimeAxis): void {
  const end_s = timeEnd(dive.end_s, dive.over);
  const y = crisp(headOf(dive) + ROW * dive.tracks.length);
  line(pen, time.to(0), y, time.to(end_s), y, pen.ink.line);
  const step_s = clockStep(end_s / Math.max(2, Math.floor(pen.width / (5 * pen.rem))));
  for (const at_s of multiples(0, end_s, step_s)) {
    const x = crisp(time.to(at_s));
    line(pen, x, y, x, y + 5, pen.ink.line);
    const align = x > pen.width - 24 ? 'right' : 'center';
    write(pen, format.clock(at_s, step_s < 60), align === 'right' ? pen.width : x, y + 17, { size: 0.75, align, style: pen.ink.soft });
  }
}

interface Flag {
  readonly x: number;
  readonly first: number;
  last: number;
  readonly due: boolean;
}

const SMALL = { size: 0.75 } as const;
const textOf = ({ first, last }: Flag): string => (first === last ? String(first) : `${first}\u2013${last}`);

/** Numbered flags; those whose numbers would touch share one: "2-4". */
function notes(pen: Pen, dive: Dive, time: Linear, at_s: number): void {
  const flags: Flag[] = [];
  for (const { elapsed_s, number } of dive.notes) {
    const x = time.to(elapsed_s);
    const before = flags[flags.length - 1];
    if (before && x - before.x < widthOf(pen, textOf({ ...before, last: number }), SMALL) + 8) before.last = number;
    else flags.push({ x, first: number, last: number, due: elapsed_s > at_s });
  }
  for (const flag of flags) {
    const style = flag.due ? pen.ink.soft : pen.ink.line;
    line(pen, crisp(flag.x), 6, crisp(flag.x), NOTES, style);
    write(pen, textOf(flag), flag.x + 3, 14, { ...SMALL, style });
  }
}

/** A cross where a target was told, ringed where it was looked at, as on the plan. */
function targets(pen: Pen, dive: Dive, time: Linear, at_s: number): void {
  for (const { elapsed_s, verdict } of dive.targets) {
    const style = elapsed_s > at_s ? pen.ink.soft : pen.ink.line;
    cross(pen, time.to(elapsed_s), NOTES + TARGETS / 2 - 1, 2.5, verdict !== 'unchecked', style);
  }
}
