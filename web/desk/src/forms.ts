/**
 * From the fields of a form to the decision that is sent, or to what is wrong with it.
 *
 * Rules: pure; only what can be seen to be wrong here is refused here, the ship judges the rest; an empty field that
 * need not be filled in is left out; every fault names its field.
 */

import { numeral, place, seconds } from './quantities';

export type Fields = Readonly<Record<string, string>>;
export type Decision = { readonly do: string; readonly [name: string]: unknown };
export type FaultKind = 'needed' | 'nobody' | 'duration' | 'numeral' | 'place' | 'either' | 'lines' | 'day';
export type Made = { readonly decision: Decision } | { readonly fault: FaultKind; readonly field: string };

/** What the ship takes at most: lines of a schedule, characters of one, characters of any other text. */
export const MOST_LINES = 12;
export const LINE_LIMIT = 200;
export const NOTE_LIMIT = 500;
export const DESCRIPTION_LIMIT = 4_000;

class Faulty extends Error {
  constructor(readonly kind: FaultKind, readonly field: string) {
    super(field);
  }
}

function made(make: () => Decision): Made {
  try {
    return { decision: make() };
  } catch (fault) {
    if (fault instanceof Faulty) return { fault: fault.kind, field: fault.field };
    throw fault;
  }
}

const written = (fields: Fields, name: string): string => (fields[name] ?? '').trim();

function needed(fields: Fields, name: string): string {
  const text = written(fields, name);
  if (text === '') throw new Faulty('needed', name);
  return text;
}

function read<T>(text: string, name: string, kind: FaultKind, reader: (text: string) => T | null): T {
  const found = reader(text);
  if (found === null) throw new Faulty(kind, name);
  return found;
}

const time = (fields: Fields, name: string): number => read(needed(fields, name), name, 'duration', seconds);
const figure = (fields: Fields, name: string): number => read(needed(fields, name), name, 'numeral', numeral);
const chosen = (fields: Fields, name: string): string | null => written(fields, name) || null;

/** Optional parts of a decision: those that were filled in. */
function optional<T>(fields: Fields, names: readonly string[], reader: (fields: Fields, name: string) => T): Record<string, T> {
  return Object.fromEntries(names.filter((name) => written(fields, name) !== '').map((name) => [name, reader(fields, name)]));
}

/** Say `text` to those ticked; `audiences` null: all that get annotations. To the ship an empty list means all of them, so nobody ticked is a fault. */
export function say(fields: Fields, audiences: readonly string[] | null, isHeld: boolean): Made {
  return made(() => {
    const text = needed(fields, 'text');
    if (audiences?.length === 0) throw new Faulty('nobody', 'text');
    return { do: 'say', text, vehicle: chosen(fields, 'vehicle'), audiences: [...(audiences ?? [])], ...(isHeld ? { wait: true } : {}) };
  });
}

const SIGMAS = ['bearing_sigma_deg', 'range_sigma_m', 'heading_sigma_deg', 'place_sigma_m'];
const DEPRESSION = ['depression_deg', 'depression_sigma_deg'];

/** Mark a target; with a bearing or a range it is a sighting, which needs both, and how well all of it is known. */
export function target(fields: Fields): Made {
  return made(() => {
    const basis = { do: 'target', name: needed(fields, 'name'), verdict: needed(fields, 'verdict'), vehicle: chosen(fields, 'vehicle') };
    if (written(fields, 'bearing_deg') === '' && written(fields, 'range_m') === '') return basis;
    needed(fields, 'vehicle');
    const sighting = {
      bearing_deg: figure(fields, 'bearing_deg'),
      range_m: figure(fields, 'range_m'),
      range_is: needed(fields, 'range_is'),
      ...Object.fromEntries(SIGMAS.map((name) => [name, figure(fields, name)])),
      ...(written(fields, 'depression_deg') === '' ? {} : Object.fromEntries(DEPRESSION.map((name) => [name, figure(fields, name)]))),
    };
    return { ...basis, sighting };
  });
}

/** What a form knows of the finds: their names, and the row of the record that is known now. */
type Recorded = readonly { readonly name: string; readonly row: number }[];

/**
 * Record a find: a new one, as found, or with `supersedes`, a row, a later record of one of those `known`, in which what
 * is left empty stays as it was.
 */
export function find(fields: Fields, known: Recorded): Made {
  return made(() => {
    const later = known.find(({ row }) => String(row) === written(fields, 'supersedes'));
    const of = later ? { name: later.name, supersedes: later.row, adds: true } : { name: needed(fields, 'name'), what: needed(fields, 'what') };
    if (written(fields, 'target') !== '' && written(fields, 'place') !== '') throw new Faulty('either', 'place');
    if (written(fields, 'radius_95_m') !== '') needed(fields, 'place');
    return { do: 'find', ...of, ...optional(fields, ['what', 'description', 'vehicle', 'target'], needed), ...optional(fields, ['depth_m'], figure), ...placed(fields) };
  });
}

function placed(fields: Fields): { readonly place?: object } {
  if (written(fields, 'place') === '') return {};
  const [latitude_deg, longitude_deg] = read(written(fields, 'place'), 'place', 'place', place);
  return { place: { latitude_deg, longitude_deg, ...optional(fields, ['radius_95_m'], figure) } };
}

export function leg(vehicle: string, chosen_: string): Made {
  return made(() => ({ do: 'leg', vehicle, leg: chosen_ === '' ? null : chosen_ }));
}

export function zone(fields: Fields): Made {
  return made(() => ({
    do: 'zone',
    name: needed(fields, 'name'),
    centre: read(needed(fields, 'centre'), 'centre', 'place', place),
    radius_m: figure(fields, 'radius_m'),
    margin_m: figure(fields, 'margin_m'),
    action: needed(fields, 'action'),
  }));
}

export function expect(fields: Fields): Made {
  return made(() => ({
    do: 'expect',
    vehicle: needed(fields, 'vehicle'),
    return_in_s: time(fields, 'return_in_s'),
    return_grace_s: time(fields, 'return_grace_s'),
    ...optional(fields, ['report_every_s', 'report_grace_s'], time),
  }));
}

/** The programme; what is left empty is taken away. */
export function programme(fields: Fields): Made {
  return made(() => {
    const schedule = written(fields, 'schedule').split('\n').map((line) => line.trim()).filter((line) => line !== '');
    if (schedule.length > MOST_LINES) throw new Faulty('lines', 'schedule');
    const next = written(fields, 'next_dive_in_s') === '' ? null : Math.round(time(fields, 'next_dive_in_s'));
    return { do: 'programme', pinned: chosen(fields, 'pinned'), schedule, next_dive_in_s: next };
  });
}

const day = (text: string): string | null => (/^\d{4}-\d\d-\d\d$/.test(text) ? text : null);

/** Invite somebody to an audience; without a last day there is no end. */
export function invite(fields: Fields): Made {
  return made(() => ({
    do: 'invite',
    audience: needed(fields, 'audience'),
    name: needed(fields, 'name'),
    ...optional(fields, ['until'], (all, name) => read(written(all, name), name, 'day', day)),
  }));
}

/** Cut the last so much, up to `now_us`, the ship's own moment; the record begins at zero. */
export function cutLast(fields: Fields, now_us: number): Made {
  return made(() => ({ do: 'cut', from_us: Math.max(0, Math.round(now_us - time(fields, 'last') * 1e6)), to_us: now_us }));
}

/** Release early what is older than so much. */
export function early(fields: Fields, now_us: number): Made {
  return made(() => ({ do: 'early', audience: needed(fields, 'audience'), upto_us: Math.max(0, Math.round(now_us - time(fields, 'since') * 1e6)) }));
}
