/**
 * Side by side: the exact plan, north up, and what each audience sees, in a frame without place or north.
 *
 * Rules: what audiences see is drawn from what was told as seen, never from exact values, and never on one sheet with
 * them: laid over each other they would give the secret frame away to whoever photographs the desk.
 */

import '../drawings.css';
import { element, mark, say, saySet } from '../../../src/dom';
import { exactLength, number } from '../../../src/format';
import { gridStep, planScale, type Bounds, type PlanScale } from '../../../src/scale';
import { actionWords, describePlan, describeSight, hereWords, lateWords, QUIET_S, verdictWords } from '../describe';
import { drawn } from '../drawn_words';
import { groundOf, groundSeen, placedFinds, placedTargets, placeFrom, placeOf, type Shown } from '../ground';
import { Paper, paletteOf, type DeskPen, type Palette } from '../paper';
import { circle, covered, find, grid, gridNumbers, names, northArrow, notice, planned, ship, target, vehicle, way, zone, type Named } from '../plan_ink';
import { US } from '../spans';
import type { Audience, Place, State, Tracks, Vehicle } from '../state';
import { slowestEdge } from '../strip';

export interface Plan {
  draw(state: State, tracks: Tracks | null): void;
  destroy(): void;
}

const GRID_PIXELS = 42;
const SMALL_GRID = 28;
const LEAST_M = 60;
/** So near the pointer something counts as being under it. */
const POINT_PIXELS = 10;
/** A silence so long is never drawn through. */
const SILENCE_S = 120;

export interface Options {
  /** Where the small plans of what audiences see belong; beside the exact one, in the same root, unless told otherwise. */
  readonly sees?: HTMLElement;
  /** Called with the place that was pressed on the exact plan: to be the centre of a zone, say. */
  readonly onPlace?: (latitude_deg: number, longitude_deg: number) => void;
}

export function create(root: HTMLElement, { sees = root, onPlace }: Options = {}): Plan {
  const exact = new Exact(() => redraw(), onPlace ?? null);
  const sights = new Sights(() => redraw());
  root.append(exact.figure);
  sees.append(sights.section);
  let last: [State, Tracks | null] | null = null;
  const redraw = (): void => {
    if (!last) return;
    const palette = paletteOf(exact.figure);
    exact.draw(palette, ...last);
    sights.draw(palette, ...last);
  };
  exact.chooser.addEventListener('change', redraw);
  return {
    draw(state, tracks): void {
      last = [state, tracks];
      redraw();
    },
    destroy(): void {
      exact.paper.destroy();
      exact.figure.remove();
      sights.destroy();
    },
  };
}

/** Where everything is, exactly. */
class Exact {
  readonly chooser = element('select', { 'aria-label': drawn.plan.show });
  readonly paper: Paper;
  readonly figure: HTMLElement;
  private readonly foot = element('p', { class: 'plan-foot' });
  private readonly here = element('p', { class: 'plan-foot plan-here' });
  private shownNow: { readonly state: State; readonly tracks: Tracks; readonly scale: PlanScale } | null = null;

  constructor(resized: () => void, private readonly onPlace: Options['onPlace'] | null) {
    const head = element('figcaption', {}, element('h2', {}, drawn.plan.title), this.chooser);
    const sheet = element('div', { class: 'plan-sheet' });
    this.figure = element('figure', { class: 'plan-exact' }, head, sheet, element('div', { class: 'plan-words' }, this.foot, this.here));
    this.paper = new Paper(sheet, true, resized);
    const { canvas } = this.paper;
    canvas.addEventListener('pointermove', (event) => this.point(event));
    canvas.addEventListener('pointerleave', () => this.leave());
    if (onPlace) canvas.addEventListener('click', (event) => this.press(event, onPlace));
  }

  /** Say what lies where the pointer is; what is drawn is for all the same, so this is for the pointer alone. */
  private point(event: PointerEvent): void {
    const at = this.placeUnder(event);
    if (!at || !this.shownNow) return;
    const { state, tracks, scale } = this.shownNow;
    const here = hereWords(at, POINT_PIXELS / scale.pixelsPerMetre, state, tracks);
    saySet(this.here, this.onPlace ? `${here} ${drawn.plan.press}` : here);
    this.figure.classList.add('plan-pointed');
  }

  private leave(): void {
    say(this.here, '');
    this.figure.classList.remove('plan-pointed');
  }

  private press(event: MouseEvent, onPlace: NonNullable<Options['onPlace']>): void {
    const at = this.placeUnder(event);
    const origin = this.shownNow?.tracks.origin;
    if (at && origin) onPlace(...placeFrom(origin, at));
  }

  private placeUnder(event: MouseEvent): Place | null {
    if (!this.shownNow) return null;
    const { left, top } = this.paper.canvas.getBoundingClientRect();
    const { bounds, pixelsPerMetre } = this.shownNow.scale;
    return [bounds.west + (event.clientX - left) / pixelsPerMetre, bounds.north - (event.clientY - top) / pixelsPerMetre];
  }

  draw(palette: Palette, state: State, tracks: Tracks | null): void {
    const pen = this.paper.pen(palette);
    this.offer(state.vehicles);
    this.paper.label(describePlan(state, tracks));
    if (!pen) return;
    const ground = tracks && groundOf(state, tracks, this.shown());
    const scale = ground && planScale(ground, pen.width, pen.height, 26, LEAST_M);
    const step_m = scale && gridStep(scale.pixelsPerMetre, GRID_PIXELS);
    this.shownNow = tracks && scale && { state, tracks, scale };
    saySet(this.foot, step_m === null ? '' : [drawn.plan.caption(exactLength(step_m)), ...keysOf(state, tracks as Tracks)].join(' '));
    this.paper.renew(palette, [tracks, JSON.stringify([ground, seenOn(state)])], (ready) => {
      if (!tracks || !scale || step_m === null) return notice(ready, drawn.plan.nothing);
      grid(ready, scale, step_m);
      inkGround(ready, scale, state, tracks);
      inkVehicles(ready, scale, state, tracks);
      names(ready, scale, namesOf(ready, state, tracks));
      gridNumbers(ready, scale, step_m, (m) => number(m));
      northArrow(ready, drawn.plan.north_);
    });
  }

  private shown(): Shown {
    const { value } = this.chooser;
    if (value.startsWith('near ')) return { near: value.slice(5) };
    return value === 'tracks' ? 'tracks' : 'everything';
  }

  /** Offer every vehicle to be looked at closely. */
  private offer(vehicles: readonly Vehicle[]): void {
    const wanted = [['everything', drawn.plan.everything], ['tracks', drawn.plan.tracks], ...vehicles.map(({ name }) => [`near ${name}`, drawn.plan.near(name)])];
    if ([...this.chooser.options].map(({ value }) => value).join('\n') === wanted.map(([value]) => value).join('\n')) return;
    const { value } = this.chooser;
    this.chooser.replaceChildren(...wanted.map(([name = '', text = '']) => element('option', { value: name }, text)));
    if (wanted.some(([name]) => name === value)) this.chooser.value = value;
  }
}

/** What of the state the exact plan shows, to the decimetre and the degree. */
function seenOn({ vehicles, targets, finds, zones, ship: name, ...state }: State): unknown {
  const round = (m: number | null): number | null => (m === null ? null : Math.round(10 * m));
  return [
    name,
    Math.floor(slowestEdge({ ...state }) / (30 * US)),
    vehicles.map((one) => [one.name, round(one.east_m), round(one.north_m), one.heading_deg === null ? null : Math.round(one.heading_deg), one.in_doubt, isQuiet(one), one.tether !== null]),
    targets.map((one) => [one.name, one.verdict, one.latitude_deg, one.longitude_deg, one.radius_95_m]),
    finds.map((one) => [one.name, one.row, one.latitude_deg]),
    zones,
  ];
}

const isQuiet = ({ heard_ago_s }: Vehicle): boolean => heard_ago_s === null || heard_ago_s >= QUIET_S;

/** What the lines mean, of those that are there. */
function keysOf(state: State, tracks: Tracks): string[] {
  const { key } = drawn.plan;
  const said = [
    Object.keys(tracks.exact).length > 0 ? key.late : '',
    state.vehicles.some(placeOf) ? key.ring(exactLength(Math.round(tracks.ring_m))) : '',
    tracks.covered.length > 0 ? key.covered : '',
    state.zones.length > 0 ? key.zone : '',
    tracks.ship && state.vehicles.some(({ tether }) => tether) ? key.tether : '',
  ].filter(Boolean).join('; ');
  return said === '' ? [] : [`${said.charAt(0).toUpperCase()}${said.slice(1)}.`];
}

function inkGround(pen: DeskPen, scale: PlanScale, state: State, tracks: Tracks): void {
  covered(pen, scale, tracks.covered);
  if (tracks.plan) planned(pen, scale, tracks.plan);
  for (const one of state.zones) {
    const at = placeOf(one);
    if (at) zone(pen, scale, at, one.radius_m, one.margin_m);
  }
}

function inkVehicles(pen: DeskPen, scale: PlanScale, state: State, tracks: Tracks): void {
  const { ink } = pen;
  const edge_us = slowestEdge(state);
  state.vehicles.forEach(({ name }, i) => way(pen, scale, tracks.exact[name] ?? [], i, edge_us, Infinity));
  for (const { at, verdict, radius_95_m } of placedTargets(state, tracks)) {
    if (radius_95_m !== null) circle(pen, scale, at, radius_95_m, ink.soft, [2, 3]);
    target(pen, scale.x(at[0]), scale.y(at[1]), verdict);
  }
  for (const { at, radius_95_m } of placedFinds(state, tracks)) {
    if (radius_95_m !== null) circle(pen, scale, at, radius_95_m, ink.soft, [2, 3]);
    find(pen, scale.x(at[0]), scale.y(at[1]));
  }
  state.vehicles.forEach((one, i) => {
    const at = placeOf(one);
    if (!at) return;
    if (one.tether && tracks.ship) tether(pen, scale, at, tracks.ship);
    circle(pen, scale, at, tracks.ring_m, ink.accent, [1.5, 4], 1.25);
    vehicle(pen, scale, i, at, one.heading_deg, !one.in_doubt && !isQuiet(one));
  });
  if (tracks.ship) ship(pen, scale, tracks.ship);
}

function tether(pen: DeskPen, scale: PlanScale, [east, north]: Place, [shipEast, shipNorth]: Place): void {
  const { context, ink } = pen;
  context.beginPath();
  context.moveTo(scale.x(shipEast), scale.y(shipNorth));
  context.lineTo(scale.x(east), scale.y(north));
  context.strokeStyle = ink.soft;
  context.lineWidth = 1;
  context.stroke();
}

/** Names by what matters most: vehicles, the ship, targets, finds, zones, the planned area. */
function namesOf({ ink }: DeskPen, state: State, tracks: Tracks): Named[] {
  const say_ = drawn.plan;
  const named: Named[] = [];
  for (const one of state.vehicles) {
    const at = placeOf(one);
    const word = one.in_doubt ? say_.inDoubt : '';
    if (at) named.push({ text: [one.name, word].filter(Boolean).join(', '), at, apart: 12, style: word === '' ? ink.accent : ink.warn, isNeeded: true });
  }
  if (tracks.ship) named.push({ text: state.ship, at: tracks.ship, apart: 12, style: ink.line, isNeeded: true });
  for (const one of placedTargets(state, tracks)) named.push({ text: say_.target(one.name, verdictWords(one.verdict)), at: one.at, apart: 12, style: ink.line, isNeeded: false });
  for (const one of placedFinds(state, tracks)) named.push({ text: one.name, at: one.at, apart: 10, style: ink.line, isNeeded: false });
  for (const one of state.zones) {
    const at = placeOf(one);
    if (at) named.push({ text: say_.zone(one.name, actionWords(one.action)), at: [at[0], at[1] - one.radius_m], apart: 4, style: ink.held, isNeeded: false });
  }
  const [corner] = tracks.plan ?? [];
  if (corner) named.push({ text: say_.planned, at: corner, apart: 6, style: ink.line, isNeeded: false });
  return named;
}

/** Small plans, one for each audience. */
class Sights {
  readonly section: HTMLElement;
  private readonly list = element('div', { class: 'plan-sights-list' });
  private readonly shown = new Map<string, Sight>();

  constructor(private readonly resized: () => void) {
    this.section = element('section', { class: 'plan-sights' }, element('h2', {}, drawn.sight.heading), element('p', { class: 'plan-foot' }, drawn.sight.rule), this.list);
  }

  draw(palette: Palette, state: State, tracks: Tracks | null): void {
    const names_ = new Set(state.audiences.map(({ name }) => name));
    for (const [name, sight] of this.shown) if (!names_.has(name)) this.drop(name, sight);
    const index = new Map(state.vehicles.map(({ name }, i) => [name, i] as const));
    for (const audience of state.audiences) {
      const sight = this.shown.get(audience.name) ?? this.add(audience.name);
      sight.draw(palette, audience, tracks, index);
    }
  }

  destroy(): void {
    for (const [name, sight] of this.shown) this.drop(name, sight);
    this.section.remove();
  }

  private add(name: string): Sight {
    const sight = new Sight(this.resized);
    this.shown.set(name, sight);
    this.list.append(sight.figure);
    return sight;
  }

  private drop(name: string, sight: Sight): void {
    sight.destroy();
    this.shown.delete(name);
  }
}

type Lines = Tracks['sees'][string];
const NO_LINES: Lines = {};

/** What one audience sees. */
class Sight {
  readonly figure: HTMLElement;
  private readonly paper: Paper;
  private readonly name = element('strong');
  private readonly late = element('span');
  private readonly foot = element('p', { class: 'plan-foot' });
  private known: { readonly of: Lines; readonly now: string; readonly ground: Bounds | null } | null = null;

  constructor(resized: () => void) {
    const sheet = element('div', { class: 'plan-sheet' });
    this.figure = element('figure', { class: 'plan-sight' }, element('figcaption', {}, this.name, ' ', this.late), sheet, this.foot);
    this.paper = new Paper(sheet, true, resized);
  }

  draw(palette: Palette, audience: Audience, tracks: Tracks | null, index: ReadonlyMap<string, number>): void {
    say(this.name, audience.name);
    saySet(this.late, lateWords(audience));
    mark(this.figure, 'data-state', audience.state);
    const pen = this.paper.pen(palette);
    const lines = tracks?.sees[audience.name] ?? NO_LINES;
    const seen = audience.sees?.vehicles ?? [];
    const ground = this.groundOf(lines, seen.map(placeOf).filter((at) => at !== null));
    const scale = pen && ground && planScale(ground, pen.width, pen.height, 14, LEAST_M);
    const step_m = scale && gridStep(scale.pixelsPerMetre, SMALL_GRID);
    const words = step_m === null ? '' : exactLength(step_m);
    this.paper.label(describeSight(audience, words));
    say(this.foot, words === '' ? '' : drawn.sight.grid(words));
    this.paper.renew(palette, [tracks, JSON.stringify([ground, seen])], (ready) => {
      if (!scale || step_m === null) return notice(ready, seen.length === 0 ? drawn.sight.nothing : drawn.sight.noTrack);
      grid(ready, scale, step_m);
      for (const [name, line] of Object.entries(lines)) way(ready, scale, line, index.get(name) ?? 0, Infinity, SILENCE_S);
      for (const one of seen) {
        const at = placeOf(one);
        if (at) vehicle(ready, scale, index.get(one.name) ?? 0, at, one.heading_deg, one.heard, 4);
      }
    });
  }

  /** The ground seen: looked for only when something came, since that means looking at every point. */
  private groundOf(of: Lines, places: readonly Place[]): Bounds | null {
    const now = JSON.stringify(places);
    if (this.known?.of !== of || this.known.now !== now) this.known = { of, now, ground: groundSeen(of, places) };
    return this.known.ground;
  }

  destroy(): void {
    this.paper.destroy();
    this.figure.remove();
  }
}
