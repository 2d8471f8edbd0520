/**
 * Pen and ink: lines, letters and the marks of the vehicles.
 *
 * Rules: colours and type come from the style sheet alone; vehicles differ by shape and by dash, never by colour
 * alone; sizes follow the reader's own text size.
 */

import { figures } from './format';
import { linear, type Linear } from './scale';

export interface Pen {
  readonly context: CanvasRenderingContext2D;
  readonly width: number;
  readonly height: number;
  readonly ink: Ink;
  /** Pixels of one rem. */
  readonly rem: number;
}

export interface Ink {
  readonly line: string;
  readonly soft: string;
  readonly hair: string;
  readonly wash: string;
  readonly accent: string;
  readonly paper: string;
  readonly serif: string;
  readonly figures: string;
}

/** The time axis from 0 to `end_s`: the same for every drawing of one width, so that those under each other agree. */
export function timeAxis(pen: Pen, end_s: number): Linear & { readonly left: number; readonly right: number } {
  const left = Math.round(4 * pen.rem);
  const right = pen.width - 10;
  return { ...linear(0, end_s, left, right), left, right };
}

/** Put a straight line between whole pixels, so that a hairline stays one. */
export const crisp = (pixel: number): number => Math.round(pixel - 0.5) + 0.5;

export function line({ context }: Pen, x1: number, y1: number, x2: number, y2: number, style: string, width = 1): void {
  context.strokeStyle = style;
  context.lineWidth = width;
  context.beginPath();
  context.moveTo(x1, y1);
  context.lineTo(x2, y2);
  context.stroke();
}

export interface Lettering {
  readonly style?: string;
  readonly size?: number;
  readonly face?: 'serif' | 'figures';
  readonly italic?: boolean;
  readonly align?: CanvasTextAlign;
  readonly baseline?: CanvasTextBaseline;
}

const SIZE = 0.8125;

/** The lettering as the browser calls it. `size` is in rem. */
function fontOf({ ink, rem }: Pen, { size = SIZE, face = 'figures', italic = false }: Lettering): string {
  return `${italic ? 'italic ' : ''}${size * rem}px ${ink[face]}`;
}

/** Choose the lettering of the texts that follow. */
function letter(pen: Pen, lettering: Lettering): void {
  pen.context.font = fontOf(pen, lettering);
}

/** Shorten a text to a width in pixels, with an ellipsis. */
export function shorten(pen: Pen, text: string, most: number, lettering: Lettering): string {
  if (widthOf(pen, text, lettering) <= most) return text;
  let kept = text;
  while (kept !== '' && widthOf(pen, `${kept}\u2026`, lettering) > most) kept = kept.slice(0, -1);
  return kept === '' ? '' : `${kept.trimEnd()}\u2026`;
}

/** Write on the sheet; the paper shows around the letters, so that lines beneath don't touch them. */
export function write(pen: Pen, text: string, x: number, y: number, lettering: Lettering = {}): void {
  const { context, ink } = pen;
  context.textAlign = 'left';
  context.textBaseline = lettering.baseline ?? 'alphabetic';
  context.setLineDash([]);
  context.lineWidth = 4;
  context.strokeStyle = ink.paper;
  context.fillStyle = lettering.style ?? ink.line;
  const { align } = lettering;
  let at = x - (align === 'right' ? 1 : align === 'center' ? 0.5 : 0) * widthOf(pen, text, lettering);
  for (const run of runs(text, lettering)) {
    letter(pen, run.lettering);
    context.strokeText(run.text, at, y);
    context.fillText(run.text, at, y);
    at += widthOfRun(pen, run.text, run.lettering);
  }
}

/** The width of a text in pixels, as it will be written. */
export function widthOf(pen: Pen, text: string, lettering: Lettering): number {
  return runs(text, lettering).reduce((width, run) => width + widthOfRun(pen, run.text, run.lettering), 0);
}

const MOST_WIDTHS = 2_000;
const widths = new Map<string, number>();

/** The width of a text in one face: measured once, since to choose a face lets the browser look at the whole page. */
function widthOfRun(pen: Pen, text: string, lettering: Lettering): number {
  const key = `${fontOf(pen, lettering)} ${text}`;
  const known = widths.get(key);
  if (known !== undefined) return known;
  letter(pen, lettering);
  const { width } = pen.context.measureText(text);
  if (widths.size >= MOST_WIDTHS) widths.clear();
  widths.set(key, width);
  return width;
}

/** Words in the face of words, figures in the face of figures. */
function runs(text: string, lettering: Lettering): { text: string; lettering: Lettering }[] {
  const figure: Lettering = { size: 0.9 * (lettering.size ?? SIZE), face: 'figures' };
  return figures(text).map((part) => ({ text: part.text, lettering: part.figure && lettering.face === 'serif' ? figure : lettering }));
}

/** A cross, as a place is marked on a sheet; a ring around it says that the place was looked at. */
export function cross(pen: Pen, x: number, y: number, radius: number, isRinged: boolean, style: string): void {
  const { context, ink } = pen;
  context.setLineDash([]);
  context.beginPath();
  for (const way of [1, -1]) {
    context.moveTo(x - radius, y - way * radius);
    context.lineTo(x + radius, y + way * radius);
  }
  if (isRinged) {
    context.moveTo(x + 2 * radius, y);
    context.arc(x, y, 2 * radius, 0, 2 * Math.PI);
  }
  for (const [width, ground] of [[4, ink.paper], [1.5, style]] as const) {
    context.lineWidth = width;
    context.strokeStyle = ground;
    context.stroke();
  }
}

/** Slanting lines over a rectangle; falling with a slope of 1, rising with -1. */
export function hatch(pen: Pen, left: number, right: number, top: number, height: number, slope: 1 | -1, apart: number): void {
  const { context, ink } = pen;
  context.beginPath();
  for (let x = left - height; x < right + height; x += apart) {
    context.moveTo(x, slope > 0 ? top : top + height);
    context.lineTo(x + height, slope > 0 ? top + height : top);
  }
  context.strokeStyle = ink.hair;
  context.lineWidth = 1;
  context.stroke();
}

/**
 * Return slanting hairlines to fill shapes with, which go on from one shape to the next, `apart` pixels from each other:
 * each pixel of the screen is ink or nothing, so that filling twice is the same as once. Null where there is no more canvas.
 */
export function hatching({ context, ink }: Pen, apart: number): CanvasPattern | null {
  const ratio = context.getTransform().a;
  const key = [ink.hair, apart, ratio].join(' ');
  if (hatched?.key === key) return hatched.pattern;
  const side = Math.round(apart * Math.SQRT2 * ratio);
  const pencil = Object.assign(document.createElement('canvas'), { width: side, height: side }).getContext('2d');
  if (!pencil) return null;
  const long = Math.round(Math.SQRT2 * ratio);
  pencil.fillStyle = ink.hair;
  for (let y = 0; y < side; y += 1) for (const x of [side - 1 - y, -1 - y]) pencil.fillRect(x, y, long, 1);
  const pattern = context.createPattern(pencil.canvas, 'repeat');
  pattern?.setTransform(new DOMMatrix().scale(1 / ratio));
  hatched = { key, pattern };
  return pattern;
}

let hatched: { readonly key: string; readonly pattern: CanvasPattern | null } | null = null;

/** The dash of a vehicle's line. */
export function dash(vehicle: number): number[] {
  return [[], [6, 3.5], [1.5, 3.5], [9, 3, 1.5, 3]][vehicle % 4] as number[];
}

const MARKS: readonly ((path: CanvasPath, x: number, y: number, r: number) => void)[] = [
  (path, x, y, r) => path.arc(x, y, r, 0, 2 * Math.PI),
  (path, x, y, r) => polygon(path, [[x, y - 1.25 * r], [x + 1.25 * r, y], [x, y + 1.25 * r], [x - 1.25 * r, y]]),
  (path, x, y, r) => path.rect(x - 0.9 * r, y - 0.9 * r, 1.8 * r, 1.8 * r),
  (path, x, y, r) => polygon(path, [[x, y - 1.2 * r], [x + 1.15 * r, y + 0.9 * r], [x - 1.15 * r, y + 0.9 * r]]),
];

function polygon(path: CanvasPath, points: readonly (readonly [number, number])[]): void {
  points.forEach(([x, y], i) => (i === 0 ? path.moveTo(x, y) : path.lineTo(x, y)));
  path.closePath();
}

/** Draw the mark of a vehicle: filled where it reports, open where it is silent. */
export function vehicleMark(pen: Pen, vehicle: number, x: number, y: number, radius: number, filled: boolean): void {
  const { context, ink } = pen;
  context.setLineDash([]);
  context.beginPath();
  (MARKS[vehicle % 4] as (typeof MARKS)[number])(context, x, y, radius);
  context.lineWidth = 4;
  context.strokeStyle = ink.paper;
  context.stroke();
  context.fillStyle = filled ? ink.accent : ink.paper;
  context.fill();
  context.lineWidth = 1.5;
  context.strokeStyle = ink.accent;
  context.stroke();
}

const SVG = 'http://www.w3.org/2000/svg';
const OUTLINES = [
  'M11 6a5 5 0 1 1-10 0a5 5 0 1 1 10 0z',
  'M6 0L12 6L6 12L0 6z',
  'M1.5 1.5h9v9h-9z',
  'M6 .5L11.5 10.5h-11z',
];

/** The same mark for running text, with a stretch of the vehicle's line. */
export function legendMark(vehicle: number): SVGSVGElement {
  const svg = document.createElementNS(SVG, 'svg');
  const attributes = { viewBox: '-14 -1 40 14', width: '40', height: '14', 'aria-hidden': 'true', class: 'legend' };
  for (const [name, value] of Object.entries(attributes)) svg.setAttribute(name, value);
  const stroke = document.createElementNS(SVG, 'path');
  stroke.setAttribute('d', 'M-14 6H26');
  stroke.setAttribute('class', 'legend-line');
  stroke.setAttribute('stroke-dasharray', dash(vehicle).join(' ') || 'none');
  const outline = document.createElementNS(SVG, 'path');
  outline.setAttribute('d', OUTLINES[vehicle % 4] as string);
  outline.setAttribute('class', 'legend-mark');
  svg.append(stroke, outline);
  return svg;
}
