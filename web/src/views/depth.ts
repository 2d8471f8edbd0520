/**
 * Depth over the time of the dive, one line per vehicle, down to the moment shown and faint beyond it.
 *
 * Rules: the whole dive is drawn twice, faint and strong, and anew only when something came; the moment uncovers the
 * strong one as far as itself, so that going through the dive draws nothing.
 */

import { depthLabel } from '../describe';
import { decimate } from '../decimate';
import { element } from '../dom';
import * as format from '../format';
import { moveTo, Uncovered } from '../moving';
import { crisp, dash, line, timeAxis, write, type Pen } from '../paint';
import { clockStep, depthDomain, linear, multiples, roundStep, timeEnd, type Linear } from '../scale';
import { Sheet } from '../sheet';
import type { Act, State, View } from '../state';
import type { Dive, Track } from '../store';
import { units } from '../units';
import { words } from '../words';

const TOP = 14;
/** Half a line, for the figure of the greatest depth. */
const foot = (pen: Pen): number => pen.height - Math.ceil(pen.rem / 2);

export function create(root: HTMLElement, act: Act): View {
  const paper = element('div', { class: 'paper' });
  root.append(element('figcaption', {}, element('h2', {}, words.depth.title)), paper);
  const sheet = new Sheet(paper, true);
  const past = new Uncovered(paper);
  const moment = element('div', { class: 'moment' });
  paper.append(moment);
  let time: Linear | null = null;
  const seek = (event: PointerEvent): void => {
    if (time && event.buttons & 1) act({ do: 'seek', at_s: time.from(event.clientX - paper.getBoundingClientRect().left) });
  };
  paper.addEventListener('pointerdown', seek);
  paper.addEventListener('pointermove', seek);
  return {
    draw(state: State): void {
      const { dive } = state;
      if (!dive) return;
      sheet.label(depthLabel(state));
      sheet.renew([dive, dive.seq], (pen) => (time = whole(pen, dive, 'faint')));
      past.sheet.renew([dive, dive.seq], (pen) => (time = whole(pen, dive, 'strong')));
      if (!time) return;
      const x = Math.round(time.to(state.playhead.at_s));
      past.upTo(x);
      moveTo(moment, x);
    },
    destroy: () => root.replaceChildren(),
  };
}

/** Draw all of a dive, and return where its times are. */
function whole(pen: Pen, dive: Dive, as: 'faint' | 'strong'): Linear {
  const time = timeAxis(pen, timeEnd(dive.end_s, dive.over));
  const domain = depthDomain(dive.shallowest_m, dive.deepest_m(dive.count - 1), dive.header.isDepthRelative);
  const depth = linear(domain[0], domain[1], TOP, foot(pen));
  if (as === 'faint') axes(pen, dive, time, depth, domain);
  const [style, width] = as === 'faint' ? [pen.ink.soft, 0.75] : [pen.ink.line, 1.75];
  dive.tracks.forEach((track, vehicle) => curve(pen, dive, track, vehicle, time, depth, style, width));
  return time;
}

function axes(pen: Pen, dive: Dive, time: ReturnType<typeof timeAxis>, depth: Linear, [low_m, high_m]: readonly [number, number]): void {
  const end_s = timeEnd(dive.end_s, dive.over);
  const step_s = clockStep(end_s / Math.max(2, Math.floor(pen.width / (5 * pen.rem))));
  for (const at_s of multiples(0, end_s, step_s)) line(pen, crisp(time.to(at_s)), TOP, crisp(time.to(at_s)), foot(pen), pen.ink.hair);
  const step_m = roundStep((high_m - low_m) / Math.max(2, Math.floor(pen.height / 48)), units.depth.size);
  for (const depth_m of multiples(low_m, high_m, step_m)) {
    const y = crisp(depth.to(depth_m));
    line(pen, time.left, y, time.right, y, depth_m === 0 ? pen.ink.line : pen.ink.hair);
    write(pen, format.axisDepth(depth_m, dive.header.isDepthRelative), time.left - 8, y, { size: 0.75, style: pen.ink.soft, align: 'right', baseline: 'middle' });
  }
}

/** Depth holds from one report to the next: the line goes in steps, and stops where nothing is told. */
function curve(pen: Pen, dive: Dive, track: Track, vehicle: number, time: Linear, depth: Linear, style: string, width: number): void {
  const { context } = pen;
  const column = (i: number): number => Math.floor(time.to(dive.elapsed_s[i] as number) * 2);
  context.beginPath();
  let y = NaN;
  for (const i of decimate(track.depth_m, 0, dive.count, column)) {
    const x = time.to(dive.elapsed_s[i] as number);
    const next = depth.to(track.depth_m[i] as number);
    if (!Number.isNaN(y)) context.lineTo(x, y);
    if (Number.isNaN(y) && !Number.isNaN(next)) context.moveTo(x, next);
    else if (!Number.isNaN(next)) context.lineTo(x, next);
    y = next;
  }
  context.setLineDash(dash(vehicle));
  context.strokeStyle = style;
  context.lineWidth = width;
  context.stroke();
  context.setLineDash([]);
}
