/**
 * What the plan has of a dive up to a moment, and never loses again: squares visited, ground seen, ways.
 *
 * Rules: squares lie on a layer of their own beneath; new ground goes beneath ways that are there, and its hatching has
 * no half-tones, so that ground seen twice looks as ground seen once.
 */

import { Kept, octetsOf, pieceOf, type Add } from './kept';
import { dash, hatching, type Pen } from './paint';
import { indexAt } from './playhead';
import type { PlanScale } from './scale';
import type { Dive, Track } from './store';
import { stripsBetween } from './swath';
import { visitsOf } from './visits';

const LAYERS = 2;
const HATCHED_PX = 5;

/** The course of the dive shown, kept as long as it lies on the sheet in the same way. */
export class Course {
  private of: readonly unknown[] = [];
  private kept: Kept | null = null;

  /** Draw the course up to tick `at`: what whole pieces have, and between their layers what the piece begun adds. */
  draw(pen: Pen, scale: PlanScale, dive: Dive, at: number): void {
    const { layers, after } = this.keptFor(pen, scale, dive).before(at);
    const [squares, lines] = layers;
    lay(pen, squares);
    visited(pen, scale, dive, after, at);
    ground(pen, scale, dive, after, at);
    lay(pen, lines);
    ways(pen, scale, dive, after, at);
  }

  private keptFor(pen: Pen, scale: PlanScale, dive: Dive): Kept {
    const { width, height } = pen.context.canvas;
    const ticks = pieceOf(dive.count, octetsOf(pen, LAYERS));
    const of = [dive, dive.bounds, pen.ink, width, height, ticks];
    if (this.kept === null || of.some((value, i) => value !== this.of[i])) this.kept = new Kept(pen, LAYERS, ticks, added(scale, dive));
    this.of = of;
    return this.kept;
  }
}

function added(scale: PlanScale, dive: Dive): Add {
  return ([squares, lines], after, upTo) => {
    if (!squares || !lines) return;
    visited(squares, scale, dive, after, upTo);
    lines.context.globalCompositeOperation = 'destination-over';
    ground(lines, scale, dive, after, upTo);
    lines.context.globalCompositeOperation = 'source-over';
    ways(lines, scale, dive, after, upTo);
  };
}

function lay({ context, width, height }: Pen, layer: HTMLCanvasElement | undefined): void {
  if (layer) context.drawImage(layer, 0, 0, width, height);
}

/** Shade every square once, however often it was visited. */
function visited(pen: Pen, scale: PlanScale, dive: Dive, after: number, upTo: number): void {
  const side = (dive.header.cell_m ?? 0) * scale.pixelsPerMetre;
  pen.context.fillStyle = pen.ink.wash;
  for (const track of dive.tracks) {
    const { firsts } = visitsOf(track, upTo + 1);
    for (let n = indexAt(firsts, firsts.length, after) + 1; n < firsts.length && (firsts[n] as number) <= upTo; n += 1) {
      const i = firsts[n] as number;
      pen.context.fillRect(scale.x(track.east_m[i] as number) - side / 2, scale.y(track.north_m[i] as number) - side / 2, side, side);
    }
  }
}

/** The ground seen, hatched: to be told from the paper without colour, and the squares show beneath it. */
function ground(pen: Pen, scale: PlanScale, dive: Dive, after: number, upTo: number): void {
  const strips = stripsBetween(dive, after, upTo);
  if (strips.length === 0) return;
  const { context } = pen;
  const style = hatching(pen, HATCHED_PX);
  if (!style) return;
  context.beginPath();
  for (const corners of strips) {
    corners.forEach(([east, north], n) => (n === 0 ? context.moveTo(scale.x(east), scale.y(north)) : context.lineTo(scale.x(east), scale.y(north))));
    context.closePath();
  }
  context.fillStyle = style;
  context.fill();
}

function ways(pen: Pen, scale: PlanScale, dive: Dive, after: number, upTo: number): void {
  dive.tracks.forEach((track, vehicle) => way(pen, scale, track, vehicle, after, upTo));
}

/** The way, which goes on where the piece before has left it: with its last stretch once more, so that the two join. */
function way(pen: Pen, scale: PlanScale, track: Track, vehicle: number, after: number, upTo: number): void {
  const { turns, run_m } = visitsOf(track, upTo + 1);
  const { context, ink } = pen;
  const next = indexAt(turns, turns.length, after) + 1;
  const end = indexAt(turns, turns.length, upTo) + 1;
  if (next === end) return;
  context.setLineDash(dash(vehicle));
  context.strokeStyle = ink.line;
  context.lineWidth = 1.5;
  let n = begin(run_m, next);
  while (n < end) {
    const stop = breakFrom(run_m, n, end);
    context.lineDashOffset = (run_m[n] as number) * scale.pixelsPerMetre;
    context.beginPath();
    for (let at = n; at < stop; at += 1) {
      const i = turns[at] as number;
      context.lineTo(scale.x(track.east_m[i] as number), scale.y(track.north_m[i] as number));
    }
    context.stroke();
    n = stop + 1;
  }
  context.lineDashOffset = 0;
  context.setLineDash([]);
}

/** Two turns back, but not across a place that wasn't told. */
function begin(run_m: readonly number[], next: number): number {
  let n = next;
  while (n > 0 && n > next - 2 && !Number.isNaN(run_m[n - 1])) n -= 1;
  return n;
}

/** Where the line breaks next, or `end`. */
function breakFrom(run_m: readonly number[], from: number, end: number): number {
  let n = from;
  while (n < end && !Number.isNaN(run_m[n])) n += 1;
  return n;
}
