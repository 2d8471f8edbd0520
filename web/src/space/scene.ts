/**
 * The drawing in three dimensions: shapes of the moment shown, lettering above them, and what turns them.
 *
 * Rules: fetched only when asked for; shapes are made anew only for another moment, and pixels only when something
 * changed; whatever there is no drawing for is said.
 */

import { element, mark, say } from '../dom';
import * as format from '../format';
import { line, vehicleMark, widthOf, write, type Pen } from '../paint';
import { barLength, multiples, roundStep } from '../scale';
import { firstFree, type Box } from '../seats';
import { Sheet } from '../sheet';
import type { State } from '../state';
import type { Dive } from '../store';
import { units } from '../units';
import { words } from '../words';
import { moved, project, sightOf, START, type Move, type Point, type Sight, type Turn } from './camera';
import { spaceCaption, spaceLabel, spaceMissing } from './describe';
import { frameOf, type Frame3 } from './frame3';
import { inkOn, type Drawing, type Inks, type Shapes } from './ink';
import { cellsOf, stepsOf, type Shape } from './seabed';
import { dashed, nowOf, ribbonOf, waysOf } from './track';
import { hearTurning } from './turning';

const MARGIN = 26;
const MOST_RATIO = 2;
const MOVES: readonly Move[] = ['left', 'right', 'higher', 'lower', 'nearer', 'further', 'reset'];

export interface Space {
  draw(state: State): void;
  destroy(): void;
}

/** What a moment looks like, from wherever it is seen. */
interface Held {
  readonly dive: Dive;
  readonly count: number;
  readonly at: number;
  readonly frame: Frame3 | null;
  readonly missing: string | null;
  readonly cells: number;
  readonly grid_m: number;
}

/** Open the drawing in `root`; `turnedTo` asks for it to be drawn again. Null where the browser has no WebGL. */
export function open(root: HTMLElement, turnedTo: () => void, lost: () => void): Space | null {
  const canvas = element('canvas', { role: 'img' });
  const drawing = inkOn(canvas);
  if (drawing === null) return null;
  const say_ = words.space;
  const above = element('div', { class: 'space-above' });
  const paper = element('div', { class: 'paper space-paper', tabindex: '0', role: 'application', 'aria-label': say_.keys, 'aria-roledescription': say_.kind }, canvas, above);
  const notice = element('p', { class: 'space-notice' });
  const foot = element('p', { class: 'foot' });
  let turn = START;
  const change = (make: (turn: Turn) => Turn): void => {
    turn = make(turn);
    turnedTo();
  };
  const keys = element('div', { class: 'space-keys', role: 'group', 'aria-label': say_.turning }, ...MOVES.map((move) => {
    const button = element('button', { type: 'button', class: 'key' }, say_.moves[move]);
    button.addEventListener('click', () => change((now) => moved(now, move)));
    return button;
  }));
  root.append(notice, paper, keys, foot);
  const lettering = new Sheet(above, false);
  const unhear = hearTurning(paper, change);
  canvas.addEventListener('webglcontextlost', lost);
  let held: Held | null = null;
  let drawn = '';
  let renders = 0;
  return {
    draw(state): void {
      const { dive, at } = state;
      if (!dive) return;
      if (held === null || held.dive !== dive || held.count !== dive.count || held.at !== at) held = hold(dive, at, drawing);
      const { frame, missing, cells, grid_m } = held;
      notice.hidden = missing === null;
      paper.hidden = keys.hidden = foot.hidden = missing !== null;
      say(notice, missing ?? '');
      if (missing !== null || frame === null) return;
      mark(canvas, 'aria-label', spaceLabel(state, turn, frame, cells));
      say(foot, spaceCaption(dive, frame, cells, grid_m));
      const sight = sightFor(dive, at, frame, turn, canvas);
      const ratio = Math.min(MOST_RATIO, devicePixelRatio || 1);
      const inks = inksOf(paper);
      const now = JSON.stringify([dive.dive, dive.count, at, turn, sight.width, sight.height, ratio, inks]);
      if (now === drawn || sight.width === 0) return;
      drawn = now;
      drawing.inks(inks);
      drawing.render(sight, 8 * (frame.reach.across + frame.reach.tall), ratio);
      renders += 1;
      mark(canvas, 'data-renders', String(renders));
      lettering.anew((pen) => letter(pen, sight, dive, at, frame));
    },
    destroy(): void {
      canvas.removeEventListener('webglcontextlost', lost);
      unhear();
      drawing.destroy();
      root.replaceChildren();
    },
  };
}

function hold(dive: Dive, at: number, drawing: Drawing): Held {
  const frame = frameOf(dive);
  const missing = spaceMissing(dive, at, frame);
  if (missing !== null || frame === null) return { dive, count: dive.count, at, frame, missing, cells: 0, grid_m: 0 };
  const cells = dive.header.fields.has('leg') ? cellsOf(dive, at, frame.side_m, frame.origin) : [];
  const grid_m = roundStep(frame.reach.across / 8, units.plan.size);
  drawing.shapes(shapesOf(dive, at, frame, stepsOf(cells, frame.side_m, frame), grid_m));
  return { dive, count: dive.count, at, frame, missing, cells: cells.length, grid_m };
}

function shapesOf(dive: Dive, at: number, frame: Frame3, seabed: Shape, grid_m: number): Shapes {
  const width = Math.min(frame.side_m * 0.35, frame.reach.across * 0.02);
  const ribbons = dive.tracks.flatMap((track, vehicle) => {
    const ways = waysOf(track, at, frame);
    const pieces = vehicle === 0 ? ways : ways.flatMap((way) => dashed(way, (width * 4) / vehicle));
    return pieces.map((piece) => ribbonOf(piece, width));
  });
  const ways = { faces: ribbons.flatMap(({ faces }) => faces), edges: ribbons.flatMap(({ edges }) => edges) };
  return { seabed, ways, grid: gridOf(frame, grid_m), dash: width };
}

/** How deep the squared paper lies: below all that is told, so that nobody takes it for the seabed. */
const paperDepth_m = ({ deepest_m, reach, exaggeration }: Frame3): number => deepest_m + (reach.across * 0.06) / exaggeration;

function gridOf(frame: Frame3, step_m: number): number[] {
  const depth_m = paperDepth_m(frame);
  const [west, east] = frame.east_m;
  const [south, north] = frame.north_m;
  const stretch = (from: readonly [number, number], to: readonly [number, number]): number[] => [...frame.point(...from, depth_m), ...frame.point(...to, depth_m)];
  return [
    ...[west, ...multiples(west, east, step_m), east].flatMap((at) => stretch([at, south], [at, north])),
    ...[south, ...multiples(south, north, step_m), north].flatMap((at) => stretch([west, at], [east, at])),
  ];
}

function sightFor(dive: Dive, at: number, frame: Frame3, turn: Turn, canvas: HTMLCanvasElement): Sight {
  const focus = dive.tracks.map((track) => nowOf(dive, track, at, frame)).find((now) => now !== null)?.at ?? [0, 0, 0];
  return sightOf(turn, frame.reach, focus, canvas.clientWidth, canvas.clientHeight, MARGIN);
}

/** The inks as the browser resolves them, forced colours included. */
function inksOf(root: HTMLElement): Inks {
  const probe = element('span', {});
  root.append(probe);
  const read = (name: string): string => {
    probe.style.color = `var(${name})`;
    return getComputedStyle(probe).color;
  };
  const inks = { paper: read('--paper'), line: read('--ink'), soft: read('--soft'), hair: read('--hair'), wash: read('--wash') };
  probe.remove();
  return inks;
}

const NAME = { face: 'serif', size: 0.9375, baseline: 'middle' } as const;
const FIGURE = { size: 0.75, baseline: 'middle' } as const;

/** Where each vehicle is, above everything; and the scale. */
function letter(pen: Pen, sight: Sight, dive: Dive, at: number, frame: Frame3): void {
  const taken: Box[] = [];
  const spots = dive.tracks.flatMap((track, vehicle) => {
    const now = nowOf(dive, track, at, frame);
    return now === null ? [] : [{ name: track.name, vehicle, heard: now.heard, at: now.at }];
  });
  const foot_y = frame.point(0, 0, paperDepth_m(frame))[1];
  for (const spot of spots) {
    const [x, y] = project(sight, spot.at);
    const below: Point = [spot.at[0], foot_y, spot.at[2]];
    line(pen, x, y, ...project(sight, below), pen.ink.accent);
    vehicleMark(pen, spot.vehicle, x, y, 5, spot.heard);
    taken.push({ x: x - 8, y, width: 16 });
  }
  for (const spot of spots) {
    const [x, y] = project(sight, spot.at);
    const width = widthOf(pen, spot.name, NAME);
    const seats = [[14, 0], [-14 - width, 0], [-width / 2, -20], [-width / 2, 22], [14, -20]].map(([dx, dy]) => ({ x: x + (dx as number), y: y + (dy as number), width }));
    const box = firstFree(seats, taken, pen.width, pen.height) ?? (seats[0] as Box);
    taken.push(box);
    pen.context.fillStyle = pen.ink.paper;
    pen.context.fillRect(box.x - 2, box.y - 9, box.width + 4, 18);
    write(pen, spot.name, box.x, box.y, { ...NAME, style: pen.ink.accent });
  }
  scaleBar(pen, sight);
}

/** One scale holds for whatever lies level and across the sheet. */
function scaleBar(pen: Pen, { pixelsPerMetre }: Sight): void {
  const length_m = barLength(pixelsPerMetre, Math.min(160, pen.width / 3), units.plan.size);
  const whole = length_m * pixelsPerMetre;
  const y = pen.height - 14;
  for (const [x1, y1, x2, y2] of [[14, y, 14 + whole, y], [14, y - 4, 14, y + 4], [14 + whole, y - 4, 14 + whole, y + 4]] as const) line(pen, x1, y1, x2, y2, pen.ink.line);
  write(pen, words.space.across(format.exactLength(length_m)), 22 + whole, y, FIGURE);
}
