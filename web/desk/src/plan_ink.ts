/**
 * Plans in ink: squared paper, tracks, and the marks of what lies on the ground.
 *
 * Rules: what differs, differs by shape, dash or word, never by colour alone; a line over a long silence is left out;
 * names find a free seat or are left to the words beside the plan.
 */

import { crisp, dash, line, vehicleMark, widthOf, write, type Lettering } from '../../src/paint';
import { multiples, type PlanScale } from '../../src/scale';
import { firstFree, type Box } from '../../src/seats';
import { piecesOf } from './ground';
import type { DeskPen } from './paper';
import type { Place, TrackPoint } from './state';

const FIGURE: Lettering = { size: 0.6875, baseline: 'middle' };
const NAME: Lettering = { face: 'serif', size: 0.875, baseline: 'middle' };

/** Squared paper; with `numbered`, metres stand at its edges. */
export function grid(pen: DeskPen, { bounds, x, y }: PlanScale, step_m: number): void {
  const { context, ink } = pen;
  context.setLineDash([]);
  context.beginPath();
  for (const east of multiples(bounds.west, bounds.east, step_m)) {
    context.moveTo(crisp(x(east)), 0);
    context.lineTo(crisp(x(east)), pen.height);
  }
  for (const north of multiples(bounds.south, bounds.north, step_m)) {
    context.moveTo(0, crisp(y(north)));
    context.lineTo(pen.width, crisp(y(north)));
  }
  context.strokeStyle = ink.hair;
  context.lineWidth = 1;
  context.globalAlpha = 0.7;
  context.stroke();
  context.globalAlpha = 1;
}

/** Metres along the lower and the left edge. */
export function gridNumbers(pen: DeskPen, { bounds, x, y }: PlanScale, step_m: number, told: (m: number) => string): void {
  const style = { ...FIGURE, style: pen.ink.soft };
  for (const east of multiples(bounds.west, bounds.east, step_m)) {
    const wide = widthOf(pen, told(east), FIGURE);
    if (x(east) - wide / 2 > 44 && x(east) + wide / 2 < pen.width - 4) write(pen, told(east), x(east), pen.height - 9, { ...style, align: 'center' });
  }
  for (const north of multiples(bounds.south, bounds.north, step_m)) {
    if (y(north) > 12 && y(north) < pen.height - 22) write(pen, told(north), 4, y(north), style);
  }
}

/** North, which is up on the exact plan alone. */
export function northArrow(pen: DeskPen, letter: string): void {
  const { context, ink } = pen;
  const x = crisp(pen.width - 18);
  line(pen, x, 46, x, 24, ink.line, 1.5);
  context.beginPath();
  context.moveTo(x - 4, 31);
  context.lineTo(x, 23);
  context.lineTo(x + 4, 31);
  context.stroke();
  write(pen, letter, x, 14, { ...NAME, align: 'center' });
}

/** Trace a piece of a track, all of whose points have a place; those that would fall on the pixel of the one before are passed over. */
function trace({ context }: DeskPen, scale: PlanScale, track: readonly TrackPoint[], from: number, to: number): void {
  let [lastX, lastY] = [NaN, NaN];
  for (let i = from; i < to; i += 1) {
    const point = track[i] as TrackPoint;
    const [x, y] = [scale.x(point[1] as number), scale.y(point[2] as number)];
    if (i === from) context.moveTo(x, y);
    else if (i < to - 1 && Math.abs(x - lastX) + Math.abs(y - lastY) < 0.75) continue;
    else context.lineTo(x, y);
    [lastX, lastY] = [x, y];
  }
}

/** A vehicle's way; the part after `late`, a moment in the track's own time, is drawn thick. */
export function way(pen: DeskPen, scale: PlanScale, track: readonly TrackPoint[], vehicle: number, late: number, longGap: number): void {
  const { context, ink } = pen;
  const turn = track.findIndex(([at]) => at > late);
  const split = turn < 0 ? track.length : turn;
  const pieces = piecesOf(track, longGap);
  context.strokeStyle = ink.accent;
  context.setLineDash(dash(vehicle));
  for (const [width, first, last] of [[1.25, 0, split], [2.75, Math.max(0, split - 1), turn < 0 ? 0 : track.length]] as const) {
    context.beginPath();
    for (const [from, to] of pieces) trace(pen, scale, track, Math.max(from, first), Math.min(to, last));
    context.lineWidth = width;
    context.stroke();
  }
  context.setLineDash([]);
}

/** A vehicle: filled where its place holds, open where it is in doubt or silent; a stroke where it points. */
export function vehicle(pen: DeskPen, scale: PlanScale, index: number, [east, north]: Place, heading_deg: number | null, isSure: boolean, size = 5): void {
  const [x, y] = [scale.x(east), scale.y(north)];
  if (heading_deg !== null) {
    const heading = (heading_deg * Math.PI) / 180;
    line(pen, x, y, x + 4 * size * Math.sin(heading), y - 4 * size * Math.cos(heading), pen.ink.accent, 2);
  }
  vehicleMark(pen, index, x, y, size, isSure);
}

/** The ship, seen from the side: her heading isn't known here, and a hull from above would point somewhere. */
export function ship({ context, ink }: DeskPen, scale: PlanScale, [east, north]: Place): void {
  const [x, y] = [scale.x(east), scale.y(north)];
  context.beginPath();
  context.moveTo(x - 11, y);
  context.lineTo(x + 11, y);
  context.lineTo(x + 7, y + 6);
  context.lineTo(x - 7, y + 6);
  context.closePath();
  context.moveTo(x, y);
  context.lineTo(x, y - 10);
  for (const [width, style] of [[5, ink.paper], [1.75, ink.line]] as const) {
    context.lineWidth = width;
    context.strokeStyle = style;
    context.stroke();
  }
}

export function circle({ context }: DeskPen, scale: PlanScale, [east, north]: Place, radius_m: number, style: string, dashes: number[], width = 1): void {
  context.beginPath();
  context.arc(scale.x(east), scale.y(north), Math.max(0, radius_m * scale.pixelsPerMetre), 0, 2 * Math.PI);
  context.setLineDash(dashes);
  context.strokeStyle = style;
  context.lineWidth = width;
  context.stroke();
  context.setLineDash([]);
}

/** A zone: hatched, with a dashed line around its margin. */
export function zone(pen: DeskPen, scale: PlanScale, at: Place, radius_m: number, margin_m: number): void {
  const { context, ink } = pen;
  const [x, y, radius] = [scale.x(at[0]), scale.y(at[1]), radius_m * scale.pixelsPerMetre];
  context.save();
  context.beginPath();
  context.arc(x, y, radius, 0, 2 * Math.PI);
  context.clip();
  context.beginPath();
  // Of a zone far larger than the sheet only what is on the sheet is hatched.
  const [left, right] = [Math.max(x - radius, -pen.height), Math.min(x + radius, pen.width)];
  for (let at_x = left - (left % 9); at_x < right + pen.height; at_x += 9) {
    context.moveTo(at_x, 0);
    context.lineTo(at_x - pen.height, pen.height);
  }
  context.strokeStyle = ink.held;
  context.globalAlpha = 0.45;
  context.lineWidth = 1;
  context.stroke();
  context.restore();
  circle(pen, scale, at, radius_m, ink.held, [], 1.5);
  circle(pen, scale, at, radius_m + margin_m, ink.held, [6, 4]);
}

function outlineOf({ context }: DeskPen, scale: PlanScale, outline: readonly Place[]): void {
  outline.forEach(([east, north], i) => (i === 0 ? context.moveTo(scale.x(east), scale.y(north)) : context.lineTo(scale.x(east), scale.y(north))));
  context.closePath();
}

/** Ground that was covered: tinted once, however often it was passed. */
export function covered(pen: DeskPen, scale: PlanScale, outlines: readonly (readonly Place[])[]): void {
  const { context, ink } = pen;
  context.beginPath();
  for (const outline of outlines) outlineOf(pen, scale, outline);
  context.fillStyle = ink.line;
  context.globalAlpha = 0.07;
  context.fill('evenodd');
  context.globalAlpha = 0.35;
  context.strokeStyle = ink.line;
  context.lineWidth = 1;
  context.stroke();
  context.globalAlpha = 1;
}

export function planned(pen: DeskPen, scale: PlanScale, outline: readonly Place[]): void {
  const { context, ink } = pen;
  context.beginPath();
  outlineOf(pen, scale, outline);
  context.setLineDash([10, 4, 2, 4]);
  context.strokeStyle = ink.line;
  context.lineWidth = 1.25;
  context.stroke();
  context.setLineDash([]);
}

type Stroke = (context: CanvasRenderingContext2D, x: number, y: number, r: number) => void;

const saltire: Stroke = (context, x, y, r) => {
  for (const way of [1, -1]) {
    context.moveTo(x - r, y - way * r);
    context.lineTo(x + r, y + way * r);
  }
};
const ring: Stroke = (context, x, y, r) => {
  context.moveTo(x + r, y);
  context.arc(x, y, r, 0, 2 * Math.PI);
};

/** One figure for each verdict, none of them an agreed sign of anything; what isn't known is the bare cross. */
const VERDICTS: Readonly<Record<string, Stroke>> = {
  'unchecked': (context, x, y, r) => saltire(context, x, y, r * 0.8),
  'rock': (context, x, y, r) => {
    context.moveTo(x - 1.3 * r, y + 0.7 * r);
    context.bezierCurveTo(x - r, y - 1.6 * r, x + r, y - 1.6 * r, x + 1.3 * r, y + 0.7 * r);
    context.closePath();
  },
  'modern debris': (context, x, y, r) => {
    for (const dy of [-0.7, 0, 0.7]) {
      context.moveTo(x - 1.1 * r, y + (dy + 0.35) * r);
      context.lineTo(x + 1.1 * r, y + (dy - 0.35) * r);
    }
  },
  'of interest': (context, x, y, r) => {
    saltire(context, x, y, r * 0.8);
    ring(context, x, y, r * 1.6);
  },
  'withheld': (context, x, y, r) => {
    context.rect(x - r, y - r, 2 * r, 2 * r);
    context.moveTo(x - r, y);
    context.lineTo(x + r, y);
  },
};

/** The mark of a target. */
export function target(pen: DeskPen, x: number, y: number, verdict: string, radius = 5): void {
  marked(pen, (context) => (VERDICTS[verdict] ?? (VERDICTS['unchecked'] as Stroke))(context, x, y, radius));
}

/** The mark of a find: a stake with its flag. */
export function find(pen: DeskPen, x: number, y: number, height = 11): void {
  marked(pen, (context) => {
    context.moveTo(x, y);
    context.lineTo(x, y - height);
    context.lineTo(x + 0.7 * height, y - 0.75 * height);
    context.lineTo(x, y - 0.5 * height);
  });
}

function marked({ context, ink }: DeskPen, stroke: (context: CanvasRenderingContext2D) => void): void {
  context.setLineDash([]);
  context.beginPath();
  stroke(context);
  for (const [width, style] of [[4.5, ink.paper], [1.75, ink.line]] as const) {
    context.lineWidth = width;
    context.strokeStyle = style;
    context.stroke();
  }
}

export interface Named {
  readonly text: string;
  readonly at: Place;
  /** Pixels from the mark to its name. */
  readonly apart: number;
  readonly style: string;
  /** Written even where it touches another. */
  readonly isNeeded: boolean;
}

/** Write names beside their marks, the first first. */
export function names(pen: DeskPen, scale: PlanScale, named: readonly Named[]): void {
  const spots = named.map(({ at: [east, north] }) => ({ x: scale.x(east), y: scale.y(north) }));
  const marks = spots.map(({ x, y }) => ({ x: x - 6, y, width: 12 }));
  const taken: Box[] = [];
  named.forEach(({ text, apart, style, isNeeded }, i) => {
    const { x, y } = spots[i] as { x: number; y: number };
    if (x < 0 || x > pen.width || y < 0 || y > pen.height) return;
    const width = widthOf(pen, text, NAME);
    const seats = [[apart, 0, 0], [-apart, 0, 1], [0, apart + 6, 0.5], [0, -apart - 6, 0.5]] as const;
    const boxes = seats.map(([dx, dy, share]) => ({ x: x + dx - share * width, y: y + dy, width }));
    const box = firstFree(boxes, [...taken, ...marks.filter((_, other) => other !== i)], pen.width, pen.height) ?? (isNeeded ? boxes[0] : undefined);
    if (!box) return;
    taken.push(box);
    write(pen, text, box.x, box.y, { ...NAME, style });
  });
}

export function notice(pen: DeskPen, text: string): void {
  const style = { face: 'serif', italic: true, size: 0.9375, align: 'center', baseline: 'middle', style: pen.ink.soft } as const;
  const lines = linesOf(text, pen.width - 8, (line) => widthOf(pen, line, style));
  const apart = 1.25 * style.size * pen.rem;
  lines.forEach((line, i) => write(pen, line, pen.width / 2, pen.height / 2 + (i - (lines.length - 1) / 2) * apart, style));
}

/** Break a text between its words into lines no wider than `most`; a single word may be. */
export function linesOf(text: string, most: number, widthOf_: (line: string) => number): readonly string[] {
  const lines: string[] = [];
  for (const word of text.split(' ')) {
    const longer = [...lines.slice(-1), word].join(' ');
    if (lines.length > 0 && widthOf_(longer) <= most) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  return lines;
}
