/** The water from surface to the deepest reached, with each vehicle at its depth. */

import { about, columnLabel } from '../describe';
import { element, say } from '../dom';
import * as format from '../format';
import { crisp, line, vehicleMark, widthOf, write, type Pen } from '../paint';
import { depthDomain, linear, multiples, roundStep, type Linear } from '../scale';
import { Sheet } from '../sheet';
import type { State, View } from '../state';
import type { Dive } from '../store';
import { units } from '../units';
import { words } from '../words';

const TOP = 24;
const BOTTOM = 18;
const SURFACE = { face: 'serif', italic: true, size: 0.8125, align: 'right', baseline: 'middle' } as const;
const SURFACE_APART = 12;

export function create(root: HTMLElement): View {
  const paper = element('div', { class: 'paper' });
  const foot = element('p', { class: 'foot' });
  root.append(element('figcaption', {}, element('h2', {}, words.column.title)), paper, foot);
  const sheet = new Sheet(paper, true);
  return {
    draw(state: State): void {
      const { dive } = state;
      if (!dive) return;
      sheet.label(columnLabel(state));
      const deepest_m = dive.deepest_m(dive.count - 1);
      say(foot, Number.isNaN(deepest_m) ? words.column.noDepth : dive.header.isDepthRelative ? words.column.relative : '');
      foot.hidden = foot.textContent === '';
      sheet.renew([dive, dive.shallowest_m, deepest_m, ...shown(dive, state.at)], (pen) => {
        if (!Number.isNaN(deepest_m)) column(pen, dive, state.at, deepest_m);
      });
    },
    destroy: () => root.replaceChildren(),
  };
}

/** All that the drawing has of the moment shown: most moments below look like the one before. */
function shown(dive: Dive, at: number): readonly unknown[] {
  const each = dive.tracks.flatMap((track) => {
    const last = track.lastHeard[at] ?? -1;
    return [last === at, track.depth_m[last] ?? NaN, track.altitude(last) === 'on the bottom'];
  });
  return [dive.deepest_m(at), ...each];
}

function column(pen: Pen, dive: Dive, at: number, deepest_m: number): void {
  const domain = depthDomain(dive.shallowest_m, deepest_m, dive.header.isDepthRelative);
  const scale = linear(domain[0], domain[1], TOP, pen.height - BOTTOM);
  const left = crisp(Math.max(3.6 * pen.rem, widthOf(pen, surface(dive), SURFACE) + SURFACE_APART + 2));
  const right = left + Math.round(Math.min(44, pen.width / 8));
  water(pen, dive, scale, left, right, domain);
  deepest(pen, dive, scale, left, right, at);
  vehicles(pen, dive, scale, left, right, at);
}

/** What stands at a depth of nothing: the surface, or where the bottom was first reached. */
const surface = (dive: Dive): string => (dive.header.isDepthRelative ? words.column.first : words.column.surface);

function water(pen: Pen, dive: Dive, scale: Linear, left: number, right: number, [low_m, high_m]: readonly [number, number]): void {
  const { ink, context } = pen;
  const isRelative = dive.header.isDepthRelative;
  const head = crisp(scale.to(low_m));
  const foot = crisp(scale.to(high_m));
  context.fillStyle = ink.wash;
  context.fillRect(left, head, right - left, foot - head);
  line(pen, left, head, left, foot, ink.line);
  line(pen, right, head, right, foot, ink.line);
  broken(pen, left, right, foot);
  if (isRelative) broken(pen, left, right, head);
  else waves(pen, left - 8, right + 8, head);
  write(pen, surface(dive), left - SURFACE_APART, scale.to(0), { ...SURFACE, style: ink.soft });
  const step_m = roundStep((high_m - low_m) / Math.max(2, Math.floor(pen.height / 64)), units.depth.size);
  for (const depth_m of multiples(low_m, high_m, step_m)) {
    if (Math.abs(depth_m) < step_m / 2) continue;
    const y = crisp(scale.to(depth_m));
    line(pen, left - 5, y, left, y, ink.line);
    write(pen, format.tick(depth_m), left - 9, y, { align: 'right', baseline: 'middle', size: 0.75, style: ink.soft });
  }
}

/** Where the drawing breaks off: what lies below isn't known. */
function broken({ context, ink }: Pen, left: number, right: number, y: number): void {
  const middle = (left + right) / 2;
  context.beginPath();
  [[left - 8, y], [middle - 5, y], [middle - 2, y - 7], [middle + 2, y + 7], [middle + 5, y], [right + 8, y]].forEach(([x = 0, at = 0]) => context.lineTo(x, at));
  context.lineWidth = 1;
  context.strokeStyle = ink.line;
  context.stroke();
}

/** The line of the surface: water, not a wall. */
function waves({ context, ink }: Pen, left: number, right: number, y: number): void {
  context.strokeStyle = ink.line;
  context.lineWidth = 1.5;
  context.beginPath();
  context.moveTo(left, y);
  for (let x = left, up = true; x < right; x += 6, up = !up) context.quadraticCurveTo(x + 3, y + (up ? -4 : 4), x + 6, y);
  context.stroke();
}

function deepest(pen: Pen, dive: Dive, scale: Linear, left: number, right: number, at: number): void {
  const depth_m = dive.deepest_m(at);
  if (Number.isNaN(depth_m)) return;
  const y = crisp(scale.to(depth_m));
  pen.context.setLineDash([2, 2]);
  line(pen, left, y, right + 10, y, pen.ink.line);
  pen.context.setLineDash([]);
}

interface Tag {
  readonly at: number;
  y: number;
  readonly lines: readonly (readonly [string, 'name' | 'figure' | 'note'])[];
}

function vehicles(pen: Pen, dive: Dive, scale: Linear, left: number, right: number, at: number): void {
  const tags: Tag[] = [];
  dive.tracks.forEach((track, vehicle) => {
    const last = track.lastHeard[at] ?? -1;
    const depth_m = track.depth_m[last] ?? NaN;
    if (Number.isNaN(depth_m)) return;
    const y = scale.to(depth_m);
    const x = left + ((right - left) * (vehicle + 1)) / (dive.tracks.length + 1);
    if (track.altitude(last) === 'on the bottom') ground(pen, x, y + 9);
    vehicleMark(pen, vehicle, x, y, 5, last === at);
    tags.push({ at: y, y, lines: [[track.name, 'name'], [short(dive, depth_m), 'figure']] });
  });
  const deepest_m = dive.deepest_m(at);
  if (!Number.isNaN(deepest_m)) tags.push({ at: scale.to(deepest_m), y: scale.to(deepest_m), lines: [[words.column.deepest(format.signedDepth(deepest_m, dive.header.depth_step_m ?? 1, dive.header.isDepthRelative)), 'note']] });
  spread(tags, pen.rem * 1.15, pen.height - 6);
  for (const tag of tags) put(pen, tag, right);
}

/** The depth beside a mark: relative ones stand on an axis that says from where, so a sign will do. */
function short(dive: Dive, depth_m: number): string {
  return dive.header.isDepthRelative ? words.vehicle.about(format.signedDepth(depth_m, dive.header.depth_step_m ?? 1, true)) : about(dive, depth_m);
}

/** Hatching under a vehicle that stands on the bottom, as a draughtsman marks ground. */
function ground(pen: Pen, x: number, y: number): void {
  line(pen, x - 11, y, x + 11, y, pen.ink.line, 1.5);
  for (let i = -9; i <= 9; i += 6) line(pen, x + i + 2, y, x + i - 3, y + 6, pen.ink.line);
}

/** Move tags apart, downwards first, then all back up from the foot of the sheet. */
function spread(tags: Tag[], line_px: number, foot: number): void {
  tags.sort((one, other) => one.at - other.at);
  const tall = (tag: Tag) => tag.lines.length * line_px + 6;
  tags.forEach((tag, i) => {
    const above = tags[i - 1];
    if (above) tag.y = Math.max(tag.y, above.y + tall(above));
  });
  let limit = foot;
  for (const tag of [...tags].reverse()) {
    tag.y = Math.min(tag.y, limit - tall(tag) + line_px);
    limit = tag.y - line_px;
  }
}

/** Write a tag beside the column, as near and as small as it must be to stay on the sheet. */
function put(pen: Pen, tag: Tag, right: number): void {
  const lettering = (face: Tag['lines'][number][1], size = 0.9375) => ({ face: 'serif', italic: face === 'note', size, baseline: 'middle' }) as const;
  const widest = Math.max(...tag.lines.map(([text, face]) => widthOf(pen, text, lettering(face)))) + 2;
  const x = Math.max(right + 14, Math.min(right + 26, pen.width - widest));
  const size = Math.max(0.6875, Math.min(0.9375, (0.9375 * (pen.width - x)) / widest));
  line(pen, right + 2, crisp(tag.at), right + 12, crisp(tag.at), pen.ink.soft);
  line(pen, right + 12, crisp(tag.at), x - 4, tag.y, pen.ink.soft);
  tag.lines.forEach(([text, face], i) => {
    const y = tag.y + i * pen.rem * 1.15;
    write(pen, text, x, y, { ...lettering(face, size), style: { name: pen.ink.accent, figure: pen.ink.line, note: pen.ink.soft }[face] });
  });
}
