/**
 * The desk's drawings in words: the label of the ribbon and the plans, and what is chosen.
 *
 * Rules: pure; whatever a drawing shows by line, shape or tint is said here as well; no colour is ever named.
 */

import { angle, depth, length, number, span } from '../../src/format';
import { intervalOf, markOf, type Chosen } from './chosen';
import { drawn } from './drawn_words';
import { nearestVehicle, placedFinds, placedTargets, placeOf, targetAt, wayTo, zonesAt } from './ground';
import { canStillCut, outAt } from './out';
import { ago, exactly, late, US } from './spans';
import type { Annotation, Audience, Place, Seen, State, Tracks, Vehicle } from './state';
import { slowestEdge } from './strip';

/** Say an audience's name, what it is doing where it isn't simply released to, and how late it is. */
export function audienceWords({ name, state, lag_s }: Audience): string {
  return drawn.ribbon.edge(name, drawn.ribbon.states[state], late(lag_s));
}

/** The same without the name, for where it stands already. */
export function lateWords({ state, lag_s }: Audience): string {
  return drawn.ribbon.edge('', drawn.ribbon.states[state], late(lag_s));
}

/** Say what the ribbon shows: the queue, every audience with its lateness, annotations, cuts. */
export function describeRibbon(state: State, tracks: Tracks | null): string {
  const say = drawn.ribbon;
  const { audiences, queue, now_us, cuts } = state;
  if (audiences.length === 0) return say.nobody;
  const kept = say.reports(number(queue.counts.reduce((sum, count) => sum + count, 0)));
  const each = `${audiences.map(audienceWords).join('; ')}.`;
  const notes = annotationsShown(state, tracks).map((note) => say.annotation(note.text, ago(note.at_us, now_us), outWords(note)));
  const cut = cuts.length === 0 ? '' : say.cuts(number(cuts.length));
  return [say.all(exactly(now_us - slowestEdge(state)), each, kept), ...notes, cut].filter(Boolean).join(' ');
}

/** How many annotations are named one by one: a label isn't a log. */
const MOST_NOTES = 6;

function annotationsShown(state: State, tracks: Tracks | null): readonly Annotation[] {
  const oldest_us = slowestEdge(state);
  return (tracks?.annotations ?? []).filter(({ at_us }) => at_us >= oldest_us).slice(-MOST_NOTES);
}

function outWords({ out }: Annotation): string {
  return out.length === 0 ? drawn.ribbon.annotationKept : drawn.ribbon.annotationOut(drawn.list(out));
}

/** Say what is chosen, and what of it is already out at whom. */
export function chosenWords(chosen: Chosen, state: State): string {
  const say = drawn.ribbon;
  const interval = intervalOf(chosen);
  if (!interval) return slowestEdge(state) >= state.now_us ? say.nothing : say.none;
  const { from_us, to_us } = interval;
  const what = say.chosen(exactly(to_us - from_us), ago(from_us, state.now_us), ago(to_us, state.now_us));
  const effect = canStillCut(interval, state.audiences) ? say.effect : say.tooLate;
  return [what, outAt(interval, state.audiences), effect].filter(Boolean).join(' ');
}

/** What the ribbon says of itself as a slider. */
export function markWords(chosen: Chosen, state: State): string {
  const say = drawn.ribbon;
  const mark_us = markOf(chosen, state.now_us);
  const interval = intervalOf(chosen);
  if (!interval) return say.mark(ago(mark_us, state.now_us));
  return `${say.inHand[mark_us === interval.from_us ? 'from' : 'to']} ${chosenWords(chosen, state)}`;
}

/** Whole seconds before now, as a slider counts them. */
export const beforeNow_s = (at_us: number, now_us: number): number => -Math.round((now_us - at_us) / US) || 0;

const east = (m: number): string => (m < 0 ? drawn.plan.west : drawn.plan.east)(length(Math.abs(m)));
const north = (m: number): string => (m < 0 ? drawn.plan.south : drawn.plan.north)(length(Math.abs(m)));

/** A report so old is worth a word. */
export const QUIET_S = 10;

/** Say where a vehicle is, exactly. */
export function vehicleWords(vehicle: Vehicle): string {
  const say = drawn.plan;
  const at = placeOf(vehicle);
  if (!at) return say.whereUnknown(vehicle.name);
  const { depth_m, heading_deg, in_doubt, heard_ago_s } = vehicle;
  const more = [
    depth_m === null ? '' : say.depth(depth(depth_m)),
    heading_deg === null ? '' : say.heading(angle(Math.round(heading_deg))),
    in_doubt ? say.doubt : '',
    heard_ago_s !== null && heard_ago_s >= QUIET_S ? say.silent(span(heard_ago_s)) : '',
  ];
  return say.where(vehicle.name, east(at[0]), north(at[1]), more.join(''));
}

export const verdictWords = (verdict: string): string => drawn.plan.verdicts[verdict] ?? verdict;
export const actionWords = (action: string): string => drawn.plan.actions[action] ?? action;

/** Say what the exact plan shows. */
export function describePlan(state: State, tracks: Tracks | null): string {
  const say = drawn.plan;
  const vehicles = state.vehicles.length === 0 ? say.nothing : state.vehicles.map(vehicleWords).join(' ');
  const [targets, finds] = tracks ? [placedTargets(state, tracks), placedFinds(state, tracks)] : [[], []];
  const at = ([x, y]: Place): string => `${east(x)}, ${north(y)}`;
  const more = [
    tracks?.ship ? say.shipAt(state.ship, east(tracks.ship[0]), north(tracks.ship[1])) : '',
    targets.length === 0 ? '' : say.targets(targets.map((target) => `${say.target(target.name, verdictWords(target.verdict))}: ${at(target.at)}`).join('; ')),
    finds.length === 0 ? '' : say.finds(finds.map((find) => `${find.name}: ${at(find.at)}`).join('; ')),
    state.zones.length === 0 ? '' : say.zones(state.zones.map(({ name, action }) => say.zone(name, actionWords(action))).join('; ')),
  ];
  return say.label(vehicles, more.filter(Boolean).join(' ')).trim();
}

/** Say what lies where the pointer is: metres, the target or zone there, and the way from the nearest vehicle. */
export function hereWords(at: Place, reach_m: number, state: State, tracks: Tracks): string {
  const say = drawn.plan;
  const target = targetAt(state, tracks, at, reach_m);
  const from = nearestVehicle(state.vehicles, at);
  const way = from && wayTo(from.at, at);
  const parts = [
    target ? say.target(target.name, verdictWords(target.verdict)) : '',
    ...zonesAt(state.zones, at).map(({ name, action }) => say.zone(name, actionWords(action))),
    from && way ? say.from(length(way.distance_m), bearing(way.azimuth_deg), from.name) : '',
  ].filter(Boolean);
  return `${say.here(east(at[0]), north(at[1]))}${parts.map((part) => `; ${part}`).join('')}.`;
}

/** A direction in three figures, as it is said at sea. */
const bearing = (azimuth_deg: number): string => `${String(Math.round(azimuth_deg) % 360).padStart(3, '0')}°`;

function seenWords({ name, east_m, depth_m, heard }: Seen): string {
  const say = drawn.sight;
  const more = `${depth_m === null ? '' : say.depth(depth(depth_m))}${heard ? '' : say.silent}`;
  return say.seen(name, east_m === null ? say.unplaced : say.shown, more);
}

/** Say what one audience sees; `grid` is the step of its plan in words, '' where it has none. */
export function describeSight(audience: Audience, grid: string): string {
  const say = drawn.sight;
  const { sees, name } = audience;
  const vehicles = sees === null || sees.vehicles.length === 0 ? `${say.nothing}.` : sees.vehicles.map(seenWords).join(' ');
  return say.label(name, lateWords(audience), vehicles, grid === '' ? '' : say.grid(grid)).trim();
}
