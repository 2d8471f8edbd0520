/** The time ribbon in ink: the queue as a band that ends at now, with an edge for each audience. */

import { crisp, hatch, line, shorten, widthOf, write, type Lettering } from '../../src/paint';
import { drawn } from './drawn_words';
import type { DeskPen } from './paper';
import { BAND, NOTES, ROW, topOf, type Scene } from './scene';
import { PAD } from './strip';

export const NAME: Lettering = { face: 'serif', size: 0.875, baseline: 'middle' };
const SMALL: Lettering = { face: 'serif', size: 0.8125, italic: true, baseline: 'middle' };
const FIGURE: Lettering = { size: 0.75, baseline: 'middle' };

export function inkStrip(pen: DeskPen, scene: Scene): void {
  const top = topOf(scene);
  band(pen, scene, top);
  for (const bar of scene.bars) queued(pen, bar, top);
  for (const { left, right } of scene.cuts) cut(pen, left, right, top);
  words(pen, scene, top);
  frame(pen, scene, top);
  if (scene.begun !== null) begun(pen, scene.begun, top);
  chosen(pen, scene, top);
  edges(pen, scene, top);
  notes(pen, scene, top + BAND);
  axis(pen, scene, top + BAND + NOTES);
}

function fill({ context }: DeskPen, style: string, left: number, right: number, top: number, height: number, alpha = 1): void {
  context.globalAlpha = alpha;
  context.fillStyle = style;
  context.fillRect(left, top, right - left, height);
  context.globalAlpha = 1;
}

function band(pen: DeskPen, { edge, now }: Scene, top: number): void {
  fill(pen, pen.ink.line, edge, now, top, BAND, 0.1);
}

/** How much came in a while, and still waits. */
function queued(pen: DeskPen, { left, right, share }: Scene['bars'][number], top: number): void {
  const height = Math.max(2, share * (BAND - 22));
  fill(pen, pen.ink.line, left, Math.max(left + 1, right - 1), top + BAND - height, height, 0.32);
}

function cut(pen: DeskPen, left: number, right: number, top: number): void {
  const { context, ink } = pen;
  const width = Math.max(2, right - left);
  context.save();
  context.beginPath();
  context.rect(left, top, width, BAND);
  context.clip();
  fill(pen, ink.paper, left, left + width, top, BAND);
  hatch(pen, left, left + width, top, BAND, 1, 6);
  hatch(pen, left, left + width, top, BAND, -1, 6);
  context.restore();
  for (const x of [left, left + width]) line(pen, crisp(x), top, crisp(x), top + BAND, ink.line);
  if (width > widthOf(pen, drawn.ribbon.cut, SMALL) + 8) write(pen, drawn.ribbon.cut, left + width / 2, top + BAND / 2, { ...SMALL, align: 'center' });
}

/** What the two parts of the band are, in words, where no edge stands in the way; the words of what is chosen come first. */
function words(pen: DeskPen, { edge, edges: all, now, cuts, chosen: own }: Scene, top: number): void {
  const stops = [edge, now, ...all.map(({ x }) => x), ...cuts.flatMap(({ left, right }) => [left, right])].toSorted((one, other) => one - other);
  const kept = stops.slice(1).map((right, i) => [stops[i] as number, right] as const).filter(([left, right]) => !cuts.some((one) => one.left <= left && one.right >= right));
  const widest = kept.reduce((best, one) => (one[1] - one[0] > best[1] - best[0] ? one : best), [edge, edge] as const);
  for (const [[left, right], text] of [[[PAD, edge], drawn.ribbon.outEverywhere], [own ? [edge, edge] : widest, drawn.ribbon.waiting]] as const) {
    if (widthOf(pen, text, SMALL) + 16 < right - left) write(pen, text, (left + right) / 2, top + 11, { ...SMALL, align: 'center', style: pen.ink.soft });
  }
}

function frame(pen: DeskPen, { edge, now }: Scene, top: number): void {
  const { context, ink } = pen;
  for (const y of [top, top + BAND]) {
    line(pen, PAD, crisp(y), edge, crisp(y), ink.hair);
    line(pen, edge, crisp(y), now, crisp(y), ink.line);
  }
  context.setLineDash([]);
  line(pen, crisp(now), top - 4, crisp(now), top + BAND + 4, ink.line, 2);
}

function begun(pen: DeskPen, x: number, top: number): void {
  pen.context.setLineDash([2, 3]);
  line(pen, crisp(x), top, crisp(x), top + BAND, pen.ink.line);
  pen.context.setLineDash([]);
  write(pen, drawn.ribbon.begun, x + 5, top + BAND - 10, SMALL);
}

function chosen(pen: DeskPen, scene: Scene, top: number): void {
  const { context, ink } = pen;
  if (scene.chosen) {
    const { left, right, text } = scene.chosen;
    fill(pen, ink.accent, left, right, top, BAND, 0.18);
    context.strokeStyle = ink.accent;
    context.lineWidth = 2;
    context.strokeRect(left, top, Math.max(1, right - left), BAND);
    for (const x of [left, right]) handle(pen, x, top);
    if (widthOf(pen, text, NAME) + 16 < right - left) write(pen, text, (left + right) / 2, top + BAND / 2, { ...NAME, align: 'center', style: ink.accent });
  }
  if (scene.mark !== null) line(pen, scene.mark, top - 5, scene.mark, top + BAND + 5, ink.accent, 2);
}

/** Where an end can be taken hold of. */
function handle({ context, ink }: DeskPen, x: number, top: number): void {
  context.fillStyle = ink.accent;
  context.fillRect(x - 3, top + BAND / 2 - 8, 6, 16);
}

function edges(pen: DeskPen, { seats, edges: all }: Scene, top: number): void {
  for (const { x, isHeld } of all) line(pen, crisp(x), top, crisp(x), top + BAND, isHeld ? pen.ink.held : pen.ink.line, isHeld ? 3 : 1.5);
  for (const { x, left, row, text, isHeld } of seats) {
    const y = row * ROW + ROW / 2;
    const style = isHeld ? pen.ink.held : pen.ink.line;
    line(pen, crisp(x), y - 6, crisp(x), top, style, isHeld ? 3 : 1.5);
    write(pen, text, left, y, { ...NAME, style });
  }
}

/** Annotations: filled where they are out everywhere, open while somebody waits for them; the words where they fit. */
function notes(pen: DeskPen, scene: Scene, top: number): void {
  const { context, ink } = pen;
  scene.notes.forEach(({ x, text, isOut }, i) => {
    context.beginPath();
    context.arc(x, top + 11, 3.5, 0, 2 * Math.PI);
    context.fillStyle = isOut ? ink.line : ink.paper;
    context.fill();
    context.strokeStyle = ink.line;
    context.lineWidth = 1.5;
    context.stroke();
    line(pen, crisp(x), top, crisp(x), top + 7, ink.line);
    const room = (scene.notes[i + 1]?.x ?? scene.width) - x - 18;
    if (room > 24) write(pen, shorten(pen, text, room, SMALL), x + 8, top + 11, { ...SMALL, style: isOut ? ink.line : ink.soft });
  });
}

function axis(pen: DeskPen, { ticks, width }: Scene, top: number): void {
  const { ink } = pen;
  line(pen, PAD, crisp(top), width - PAD, crisp(top), ink.hair);
  for (const { x, text } of ticks) {
    line(pen, crisp(x), top, crisp(x), top + 5, ink.line);
    const wide = widthOf(pen, text, FIGURE);
    write(pen, text, Math.min(Math.max(x - wide / 2, 0), width - wide), top + 14, { ...FIGURE, style: ink.soft });
  }
}
