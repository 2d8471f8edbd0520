/**
 * Metres on the desk's plan: where a position lies, what the sheet has to hold, where a track breaks.
 *
 * Rules: pure; metres are east and north of the desk's origin; the sheet grows in round steps, so that it doesn't creep
 * with every fix.
 */

import { roundStep, type Bounds } from '../../src/scale';
import type { Place, State, TrackPoint, Tracks, Vehicle, Zone } from './state';

/** WGS 84: semi-major axis in metres, flattening (NIMA TR8350.2, table 3.1). */
const A_M = 6_378_137;
const F = 1 / 298.257223563;
const E2 = F * (2 - F);
const RAD = Math.PI / 180;

/**
 * Return metres east and north of `origin` (both places latitude_deg, longitude_deg), in the plane in which distance
 * and direction from the origin are true. By Gauss' mid-latitude formulas, from memory: good to a centimetre or two
 * within 20 km where the desk works, which is finer than its drawing; not for the last degrees before a pole.
 */
export function metresFrom(origin: Place, [latitude_deg, longitude_deg]: Place): Place {
  const middle = (RAD * (latitude_deg + origin[0])) / 2;
  const dLatitude = RAD * (latitude_deg - origin[0]);
  const dLongitude = RAD * ((((longitude_deg - origin[1] + 540) % 360) + 360) % 360 - 180);
  const w2 = 1 - E2 * Math.sin(middle) ** 2;
  const along = ((A_M * (1 - E2)) / w2 ** 1.5) * dLatitude * Math.cos(dLongitude / 2);
  const across = (A_M / Math.sqrt(w2)) * dLongitude * Math.cos(middle);
  const turn = (-dLongitude * Math.sin(middle)) / 2;
  return [across * Math.cos(turn) + along * Math.sin(turn), along * Math.cos(turn) - across * Math.sin(turn)];
}

/** Return the place (latitude_deg, longitude_deg) that lies so many metres east and north of `origin`: the way back. */
export function placeFrom(origin: Place, [east_m, north_m]: Place): Place {
  let place = origin;
  for (let step = 0; step < 4; step += 1) {
    const [east, north] = metresFrom(origin, place);
    const w2 = 1 - E2 * Math.sin(RAD * place[0]) ** 2;
    const dLatitude = (north_m - north) / ((A_M * (1 - E2)) / w2 ** 1.5);
    const dLongitude = (east_m - east) / ((A_M / Math.sqrt(w2)) * Math.cos(RAD * place[0]));
    place = [place[0] + dLatitude / RAD, ((place[1] + dLongitude / RAD + 540) % 360) - 180];
  }
  return place;
}

/** Distance in metres and direction in degrees from one place of the desk to another. */
export function wayTo([fromEast, fromNorth]: Place, [east, north]: Place): { readonly distance_m: number; readonly azimuth_deg: number } {
  const [dEast, dNorth] = [east - fromEast, north - fromNorth];
  return { distance_m: Math.hypot(dEast, dNorth), azimuth_deg: ((Math.atan2(dEast, dNorth) / RAD) + 360) % 360 };
}

/** What of the plan is to be seen: all there is, the tracks and targets, or the ground around one vehicle. */
export type Shown = 'everything' | 'tracks' | { readonly near: string };

const LEAST_M = 100;
const NEAR_M = 150;

export interface Circle {
  readonly at: Place;
  readonly radius_m: number;
}

export const placeOf = ({ east_m, north_m }: Pick<Vehicle, 'east_m' | 'north_m'>): Place | null => (east_m === null || north_m === null ? null : [east_m, north_m]);

/** Return the targets that have a place, with it. */
export const placedTargets = ({ targets }: State, tracks: Tracks): readonly Placed<State['targets'][number]>[] => placed(targets, tracks);

/** Return the finds, as they are known now, that have a place, with it. */
export const placedFinds = ({ finds }: State, tracks: Tracks): readonly Placed<State['finds'][number]>[] => placed(finds, tracks);

type Placed<T> = T & { readonly at: Place };

function placed<T extends { readonly latitude_deg: number | null; readonly longitude_deg: number | null }>(all: readonly T[], { origin }: Tracks): readonly Placed<T>[] {
  if (origin === null) return [];
  return all.flatMap((one) => {
    const { latitude_deg, longitude_deg } = one;
    return latitude_deg === null || longitude_deg === null ? [] : [{ ...one, at: metresFrom(origin, [latitude_deg, longitude_deg]) }];
  });
}

/** Return the target within `reach_m` of a place, the nearest; null where there is none. */
export function targetAt(state: State, tracks: Tracks, at: Place, reach_m: number): State['targets'][number] | null {
  const near = placedTargets(state, tracks).map((target) => ({ target, away: wayTo(at, target.at).distance_m }));
  const found = near.filter(({ away }) => away <= reach_m).toSorted((one, other) => one.away - other.away);
  return found[0]?.target ?? null;
}

/** Return the zones, with their margins, that a place lies in. */
export function zonesAt(zones: readonly Zone[], at: Place): readonly Zone[] {
  return zones.filter((zone) => {
    const centre = placeOf(zone);
    return centre !== null && wayTo(centre, at).distance_m <= zone.radius_m + zone.margin_m;
  });
}

/** Return the vehicle nearest to a place, of those that have one. */
export function nearestVehicle(vehicles: readonly Vehicle[], at: Place): { readonly name: string; readonly at: Place } | null {
  const placed = vehicles.flatMap((one) => {
    const own = placeOf(one);
    return own ? [{ name: one.name, at: own }] : [];
  });
  return placed.toSorted((one, other) => wayTo(one.at, at).distance_m - wayTo(other.at, at).distance_m)[0] ?? null;
}

/** Return the ground that the sheet has to hold; null where nothing has a place yet. */
export function groundOf(state: State, tracks: Tracks, shown: Shown): Bounds | null {
  const near = typeof shown === 'object' ? state.vehicles.find(({ name }) => name === shown.near) : undefined;
  const centre = near ? placeOf(near) : null;
  if (centre) return around(centre);
  const found = new Extent();
  for (const line of Object.values(tracks.exact)) found.take(line);
  for (const { at, radius_m } of circlesOf(state, tracks, shown !== 'everything')) found.hold(at[0], at[1], radius_m);
  return found.rounded();
}

/** The ground around a vehicle: it moves on in steps, not with every fix. */
function around([east_m, north_m]: Place): Bounds {
  const [east, north] = [50 * Math.round(east_m / 50), 50 * Math.round(north_m / 50)];
  return { west: east - NEAR_M, east: east + NEAR_M, south: north - NEAR_M, north: north + NEAR_M };
}

function* circlesOf(state: State, tracks: Tracks, isTracksAlone: boolean): Generator<Circle> {
  for (const vehicle of state.vehicles) {
    const at = placeOf(vehicle);
    if (at) yield { at, radius_m: tracks.ring_m };
  }
  for (const { at, radius_95_m } of [...placedTargets(state, tracks), ...placedFinds(state, tracks)]) yield { at, radius_m: radius_95_m ?? 0 };
  if (isTracksAlone) return;
  if (tracks.ship) yield { at: tracks.ship, radius_m: 0 };
  for (const outline of [...tracks.covered, tracks.plan ?? []]) for (const at of outline) yield { at, radius_m: 0 };
  for (const zone of state.zones) {
    const at = placeOf(zone);
    if (at) yield { at, radius_m: zone.radius_m + zone.margin_m };
  }
}

/** The bounds of all that was held. */
export class Extent {
  private west = Infinity;
  private east = -Infinity;
  private south = Infinity;
  private north = -Infinity;

  hold(east_m: number, north_m: number, radius_m = 0): void {
    if (east_m - radius_m < this.west) this.west = east_m - radius_m;
    if (east_m + radius_m > this.east) this.east = east_m + radius_m;
    if (north_m - radius_m < this.south) this.south = north_m - radius_m;
    if (north_m + radius_m > this.north) this.north = north_m + radius_m;
  }

  take(line: readonly TrackPoint[]): void {
    for (const [, east_m, north_m] of line) if (east_m !== null && north_m !== null) this.hold(east_m, north_m);
  }

  /** The bounds in round metres; null where nothing was held. */
  rounded(): Bounds | null {
    const { west, east, south, north } = this;
    return east < west ? null : rounded({ west, east, south, north });
  }
}

/** Widen bounds to round metres. */
export function rounded({ west, east, south, north }: Bounds): Bounds {
  const step = roundStep(Math.max(east - west, north - south, LEAST_M) / 10);
  const [low, high] = [(value: number) => step * Math.floor(value / step), (value: number) => step * Math.ceil(value / step)];
  return { west: low(west), east: high(east), south: low(south), north: high(north) };
}

/** What an audience sees, all of its vehicles in one frame; null where none has a place. */
export function groundSeen(lines: Readonly<Record<string, readonly TrackPoint[]>>, now: readonly Place[]): Bounds | null {
  const found = new Extent();
  for (const [east, north] of now) found.hold(east, north);
  for (const line of Object.values(lines)) found.take(line);
  return found.rounded();
}

/** A gap of so many times what is usual between two points, and of at least that long, breaks the line. */
const BREAK_TIMES = 10;

const hasPlace = ([, east_m, north_m]: TrackPoint): boolean => east_m !== null && north_m !== null;

/**
 * Return the pieces of a track as ranges [from, to) of points that all have a place: a straight line over a long
 * silence, or over a stretch of which no place was told, would be an invention. With `least` Infinity the time between
 * points breaks nothing: the exact track keeps two points of a straight line, and tells itself where nothing was heard.
 */
export function piecesOf(line: readonly TrackPoint[], least: number): readonly (readonly [number, number])[] {
  const gaps = line.slice(1).map(([at], i) => at - (line[i] as TrackPoint)[0]);
  const usual = gaps.toSorted((one, other) => one - other)[Math.floor(gaps.length / 2)] ?? 0;
  const longest = Math.max(least, BREAK_TIMES * usual);
  const pieces: [number, number][] = [];
  line.forEach((point, i) => {
    if (!hasPlace(point)) return;
    const last = pieces[pieces.length - 1];
    if (last && last[1] === i && (gaps[i - 1] as number) <= longest) last[1] = i + 1;
    else pieces.push([i, i + 1]);
  });
  return pieces;
}
