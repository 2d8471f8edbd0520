/** The track from above, on squared paper: a scale of its own, and no north. */

import { Course } from '../course';
import { latestTargets, planLabel, trackMissing } from '../describe';
import { element, mark, say } from '../dom';
import * as format from '../format';
import { crisp, cross, line, vehicleMark, widthOf, write, type Lettering, type Pen } from '../paint';
import { indexAt } from '../playhead';
import { barLength, gridStep, multiples, planScale, type Bounds, type PlanScale } from '../scale';
import { firstFree, type Box } from '../seats';
import { Sheet } from '../sheet';
import type { State, View } from '../state';
import type { Dive, Track } from '../store';
import { units } from '../units';
import { words } from '../words';

const GRID_PIXELS = 44;
const MARGIN = 30;
const NOTICE_MARGIN = 16;
/** The strip at the foot of the sheet that is kept for the scale, in rem. */
const STRIP = 2.25;
const NOWHERE: Bounds = { west: 0, east: 0, south: 0, north: 0 };

export function create(root: HTMLElement): View {
  const say_ = words.plan;
  const head = element('figcaption', {}, element('h2', {}, say_.title), element('strong', { class: 'not-north' }, say_.up));
  const paper = element('div', { class: 'paper' });
  const foot = element('p', { class: 'foot' });
  root.append(head, paper, foot);
  const sheet = new Sheet(paper, true);
  const course = new Course();
  const map = (pen: Pen, state: State, dive: Dive): void => {
    const { at } = state;
    const { at_s } = state.playhead;
    const missing = trackMissing(dive, at);
    const field: Pen = { ...pen, height: pen.height - Math.round(STRIP * pen.rem) };
    const scale = planScale(wide(dive), field.width, field.height, MARGIN, 8 * (dive.header.cell_m ?? 25));
    sheet.label(planLabel(state, scale.pixelsPerMetre, GRID_PIXELS));
    const grid_m = gridStep(scale.pixelsPerMetre, GRID_PIXELS, units.plan.size);
    if (missing === null) {
      grid(field, scale, grid_m);
      course.draw(pen, scale, dive, at);
      moment(field, scale, dive, at, at_s);
      scaleBar(pen, scale, field.height);
    } else notice(pen, missing);
    mark(root, 'data-track', missing === null ? 'told' : 'untold');
    say(foot, missing === null ? caption(scale, dive, grid_m, state) : say_.upMore);
  };
  return {
    draw(state: State): void {
      const { dive, at } = state;
      const of = dive && [dive, dive.bounds, dive.notes.length, dive.targets.length, at, toldBy(dive, state.playhead.at_s)];
      sheet.renew(of ?? [], (pen) => {
        if (dive) map(pen, state, dive);
        else blank(pen);
        if (!dive) sheet.label(words.plan.labelEmpty(words.plan.blank));
      });
    },
    destroy: () => root.replaceChildren(),
  };
}

/** How many targets were told by a moment. */
function toldBy(dive: Dive, at_s: number): number {
  return dive.targets.reduce((count, { elapsed_s }) => count + (elapsed_s <= at_s ? 1 : 0), 0);
}

/** What the sheet has to hold: all of the track, and the ground seen beside it. */
function wide({ bounds, header }: Dive): Bounds {
  if (bounds === null) return NOWHERE;
  const beside_m = (header.swath_m ?? 0) / 2;
  return { west: bounds.west - beside_m, east: bounds.east + beside_m, south: bounds.south - beside_m, north: bounds.north + beside_m };
}

/** Squared paper with nothing on it yet. */
function blank(pen: Pen): void {
  for (let x = GRID_PIXELS / 2; x < pen.width; x += GRID_PIXELS) line(pen, crisp(x), 0, crisp(x), pen.height, pen.ink.hair);
  for (let y = GRID_PIXELS / 2; y < pen.height; y += GRID_PIXELS) line(pen, 0, crisp(y), pen.width, crisp(y), pen.ink.hair);
  notice(pen, words.plan.blank);
}

/** Write a sentence across the sheet, smaller where it would run off it: how wide it is depends on the reader's serif. */
function notice(pen: Pen, text: string): void {
  const lettering = { face: 'serif', italic: true, align: 'center', style: pen.ink.soft } as const;
  const size = Math.min(1, (pen.width - NOTICE_MARGIN) / widthOf(pen, text, { ...lettering, size: 1 }));
  write(pen, text, pen.width / 2, pen.height / 2, { ...lettering, size });
}

function caption(scale: PlanScale, dive: Dive, grid_m: number, { at, playhead: { at_s } }: State): string {
  const { cell_m, swath_m } = dive.header;
  const parts = [
    words.plan.grid(format.exactLength(grid_m)),
    cell_m === null ? '' : words.plan.cell(format.length(cell_m)),
    swath_m === null ? '' : words.time.plan.swath(format.length(swath_m)),
    numbersOf(scale, dive, at).length > 0 ? words.time.plan.numbers : '',
    placedTargets(dive, at_s).length > 0 ? words.time.plan.targets : '',
    words.plan.upMore,
  ];
  return parts.filter(Boolean).join(' ');
}

function grid(pen: Pen, { bounds, x, y }: PlanScale, step_m: number): void {
  const { context, ink } = pen;
  context.beginPath();
  for (const east of multiples(bounds.west, bounds.east, step_m)) upright(context, crisp(x(east)), pen.height);
  for (const north of multiples(bounds.south, bounds.north, step_m)) level(context, crisp(y(north)), pen.width);
  context.strokeStyle = ink.hair;
  context.lineWidth = 1;
  context.stroke();
}

function upright(context: CanvasRenderingContext2D, x: number, height: number): void {
  context.moveTo(x, 0);
  context.lineTo(x, height);
}

function level(context: CanvasRenderingContext2D, y: number, width: number): void {
  context.moveTo(0, y);
  context.lineTo(width, y);
}

interface Placed {
  readonly name: string;
  readonly isChecked: boolean;
  readonly east_m: number;
  readonly north_m: number;
}

/** Targets where their vehicle was shown when they were last told: a record of a target holds no place of its own. */
function placedTargets(dive: Dive, at_s: number): Placed[] {
  return latestTargets(dive, at_s).flatMap(({ name, vehicle, verdict, elapsed_s }) => {
    const one = dive.tracks[vehicle ?? -1];
    const i = indexAt(dive.elapsed_s, dive.count, elapsed_s);
    const [east_m, north_m] = [one?.east_m[i] ?? NaN, one?.north_m[i] ?? NaN];
    return Number.isNaN(east_m) ? [] : [{ name, isChecked: verdict !== 'unchecked', east_m, north_m }];
  });
}

/** What belongs to the moment alone: targets as they were told by then, vehicles, names and numbers. */
function moment(pen: Pen, scale: PlanScale, dive: Dive, at: number, at_s: number): void {
  const targets = placedTargets(dive, at_s);
  for (const { east_m, north_m, isChecked } of targets) cross(pen, scale.x(east_m), scale.y(north_m), 3.5, isChecked, pen.ink.line);
  dive.tracks.forEach((one, vehicle) => now(pen, scale, one, vehicle, at, (dive.header.cell_m ?? 0) * scale.pixelsPerMetre));
  lettering(pen, scale, dive, at, targets);
}

/** Where a vehicle is: somewhere in this square, pointing this way. */
function now(pen: Pen, scale: PlanScale, one: Track, vehicle: number, at: number, side: number): void {
  const last = one.lastHeard[at] ?? -1;
  const east = one.east_m[last] ?? NaN;
  if (last < 0 || Number.isNaN(east)) return;
  const [x, y] = [scale.x(east), scale.y(one.north_m[last] as number)];
  const { context, ink } = pen;
  context.strokeStyle = ink.accent;
  context.lineWidth = 1;
  context.strokeRect(x - side / 2, y - side / 2, side, side);
  const heading = ((one.heading_deg[last] as number) * Math.PI) / 180;
  if (!Number.isNaN(heading)) line(pen, x, y, x + 18 * Math.sin(heading), y - 18 * Math.cos(heading), ink.accent, 2);
  vehicleMark(pen, vehicle, x, y, 5, last === at);
}

interface Lettered {
  readonly text: string;
  /** What it belongs to. */
  readonly x: number;
  readonly y: number;
}

/** Seats of a name beside its mark, the best first: dx, dy, and how much of its width lies left of there. */
const NAME_SEATS = [[24, 0, 0], [-24, 0, 1], [0, 34, 0.5], [0, -34, 0.5]] as const;
/** Seats of a number at the end of its stroke. */
const NUMBER_SEATS = [[-8, -14, 1], [8, -14, 0], [-8, 14, 1], [8, 14, 0]] as const;
/** Seats of a target's name. */
const TARGET_SEATS = [[12, 0, 0], [-12, 0, 1], [0, 17, 0.5], [0, -17, 0.5]] as const;
const TARGET = { face: 'serif', italic: true, size: 0.875, baseline: 'middle' } as const;
const NAME = { face: 'serif', size: 0.9375, baseline: 'middle' } as const;
const NUMBER = { size: 0.75, baseline: 'middle' } as const;

type Seats = readonly (readonly [number, number, number])[];

function boxesOf(pen: Pen, { text, x, y }: Lettered, seats: Seats, lettering: Lettering): Box[] {
  const width = widthOf(pen, text, lettering);
  return seats.map(([dx, dy, share]) => ({ x: x + dx - share * width, y: y + dy, width }));
}

/** The numbers of notes, where their vehicle was when they were written; those of one spot stand together. */
function numbersOf(scale: PlanScale, dive: Dive, at: number): Lettered[] {
  const spots: { x: number; y: number; numbers: number[] }[] = [];
  for (const note of dive.notes) {
    const i = indexAt(dive.elapsed_s, dive.count, note.elapsed_s);
    const one = dive.tracks[note.vehicle ?? -1];
    if (!one || i < 0 || i > at || Number.isNaN(one.east_m[i])) continue;
    const [x, y] = [scale.x(one.east_m[i] as number), scale.y(one.north_m[i] as number)];
    const near = spots.find((spot) => Math.hypot(spot.x - x, spot.y - y) < 12);
    if (near) near.numbers.push(note.number);
    else spots.push({ x, y, numbers: [note.number] });
  }
  return spots.map(({ x, y, numbers }) => ({ x, y, text: format.list(numbers) }));
}

function namesOf(scale: PlanScale, dive: Dive, at: number): Lettered[] {
  return dive.tracks.flatMap((one) => {
    const last = one.lastHeard[at] ?? -1;
    const east = one.east_m[last] ?? NaN;
    return Number.isNaN(east) ? [] : [{ text: one.name, x: scale.x(east), y: scale.y(one.north_m[last] as number) }];
  });
}

/** Names first, since they matter most, those of targets next; then the numbers that find room, the latest first: the list has them all. */
function lettering(pen: Pen, scale: PlanScale, dive: Dive, at: number, targets: readonly Placed[]): void {
  const names = namesOf(scale, dive, at);
  const taken: Box[] = names.map(({ x, y }) => ({ x: x - 8, y, width: 16 }));
  for (const name of names) {
    const boxes = boxesOf(pen, name, NAME_SEATS, NAME);
    const box = firstFree(boxes, taken, pen.width, pen.height) ?? (boxes[0] as Box);
    taken.push(box);
    write(pen, name.text, box.x, box.y, { ...NAME, style: pen.ink.accent });
  }
  for (const target of targets) {
    const named = { text: target.name, x: scale.x(target.east_m), y: scale.y(target.north_m) };
    taken.push({ x: named.x - 7, y: named.y, width: 14 });
    const box = firstFree(boxesOf(pen, named, TARGET_SEATS, TARGET), taken, pen.width, pen.height);
    if (!box) continue;
    taken.push(box);
    write(pen, named.text, box.x, box.y, TARGET);
  }
  for (const number of numbersOf(scale, dive, at).reverse()) {
    const box = firstFree(boxesOf(pen, number, NUMBER_SEATS, NUMBER), taken, pen.width, pen.height);
    if (!box) continue;
    taken.push(box);
    const [x, y] = [number.x + (box.x < number.x ? -7 : 7), box.y + (box.y < number.y ? 5 : -5)];
    line(pen, number.x, number.y, x, y, pen.ink.line);
    write(pen, number.text, box.x, box.y, NUMBER);
  }
}

function scaleBar(pen: Pen, scale: PlanScale, top: number): void {
  const { context, ink } = pen;
  const length_m = barLength(scale.pixelsPerMetre, Math.min(160, pen.width / 3), units.plan.size);
  const whole = length_m * scale.pixelsPerMetre;
  const lettering = { size: 0.75, baseline: 'middle' } as const;
  const middle = (top + pen.height) / 2;
  const [x, y] = [14 + widthOf(pen, '0', lettering) + 6, Math.round(middle) - 2];
  line(pen, 0, crisp(top), pen.width, crisp(top), ink.line);
  for (let quarter = 0; quarter < 4; quarter += 1) {
    context.fillStyle = quarter % 2 === 0 ? ink.line : ink.paper;
    context.fillRect(x + (quarter * whole) / 4, y, whole / 4, 4);
  }
  context.strokeStyle = ink.line;
  context.lineWidth = 1;
  context.strokeRect(crisp(x), crisp(y), Math.round(whole), 4);
  write(pen, '0', x - 6, middle, { ...lettering, align: 'right' });
  write(pen, format.exactLength(length_m), x + whole + 8, middle, lettering);
}
