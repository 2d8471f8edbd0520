/**
 * What the ship tells the desk: the state, twice a second, and the tracks, every few seconds.
 *
 * Rules: pure; every field is checked before anything shows it, and a Misread says which one is wrong; times in `_us`
 * are microseconds of the embargo clock, lengths metres, angles degrees; what isn't known is null, never a number.
 */

import { fields, flag, list, named, num, oneOf, orNull, perhaps, row, text, whole, type Read, type Reader } from './reading';

const place = row(num, num);
const between = { from_us: whole, to_us: whole };

const tether = fields({
  length_m: num,
  slant_m: num,
  horizontal_m: num,
  margin_m: num,
  /** Of its length, how much is needed to reach the vehicle in a straight line. */
  share: num,
  word: text,
});

const overdue = fields({
  sounds: flag,
  words: text,
  return_in_s: num,
  next_report_in_s: orNull(num),
  missing_reports: whole,
});

const survey = fields({
  line_km: num,
  area_km2: num,
  again_share: num,
  planned_percent: orNull(num),
  passes: whole,
  words: text,
});

const vehicle = fields({
  name: text,
  heard_ago_s: orNull(num),
  mode: orNull(text),
  leg: orNull(text),
  latitude_deg: orNull(num),
  longitude_deg: orNull(num),
  /** From the desk's own origin, as are all metres of the desk. */
  east_m: orNull(num),
  north_m: orNull(num),
  depth_m: orNull(num),
  altitude_m: orNull(num),
  heading_deg: orNull(num),
  pitch_deg: orNull(num),
  roll_deg: orNull(num),
  speed_mps: orNull(num),
  in_doubt: flag,
  tether: orNull(tether),
  overdue: orNull(overdue),
  survey: orNull(survey),
});

/** A vehicle as an audience sees it: in that audience's own frame, which has no place and no north. */
const seen = fields({
  name: text,
  east_m: orNull(num),
  north_m: orNull(num),
  depth_m: orNull(num),
  altitude: orNull(text),
  heading_deg: orNull(num),
  mode: orNull(text),
  leg: orNull(text),
  heard: flag,
});

const sees = fields({ age_s: orNull(num), dive_time_s: num, vehicles: list(seen) });

const audience = fields({
  name: text,
  open: flag,
  /** Shown to whoever has a link of their own. */
  invited: flag,
  state: oneOf('releasing', 'between dives', 'held', 'stopped'),
  words: text,
  held: flag,
  /** The journal row of the newest hold of it, so that a resume can say which holds it knew of. */
  held_row: perhaps(orNull(whole)),
  /** The vehicle that was outside the declared area, for which it stopped. */
  outside: orNull(text),
  delay_s: num,
  /** What was received before this is out; what came later isn't. */
  edge_us: whole,
  lag_s: num,
  next_in_s: orNull(num),
  under_way: flag,
  dive: whole,
  records: whole,
  followers: whole,
  bytes: whole,
  fields: list(text),
  checked: flag,
  sees: orNull(sees),
});

/** What the embargo still keeps from the slowest audience, counted in buckets, the oldest first. */
const queue = fields({ ...between, bucket_us: whole, counts: list(whole) });

const station = fields({ role: oneOf('primary', 'standby'), counting: flag, healthy: flag });

const feed = fields({
  name: text,
  format: text,
  vehicle: orNull(text),
  of_ship: flag,
  state: text,
  heard_ago_s: orNull(num),
  accepted: whole,
  passed_over: whole,
  rejected: named(whole),
  bytes: whole,
  station: orNull(station),
});

const journal = fields({ rows: whole, bytes: whole, free_bytes: orNull(whole), fault: orNull(text), fills_in_s: orNull(num) });
const link = fields({ connections: whole, followers: whole, bits_per_s: num, words: text });

/** How far the shore is with an audience; null where it hasn't said. */
const ashore = fields({
  behind_records: orNull(whole),
  behind_s: orNull(num),
  held_dive: orNull(whole),
  held_seq: orNull(whole),
  followers: orNull(whole),
});

const uplink = fields({
  state: oneOf('up', 'down'),
  words: text,
  to: text,
  up_since_s: orNull(num),
  outages: whole,
  sent_octets: whole,
  bits_per_s: num,
  limit_bits_per_s: orNull(num),
  audiences: named(ashore),
});

const guest = fields({
  id: text,
  name: text,
  audience: text,
  until: orNull(text),
  revoked: flag,
  over: flag,
  opens: whole,
  last_day: orNull(text),
});

const waiting = fields({
  say: whole,
  at_us: whole,
  ago_s: num,
  who: text,
  text,
  vehicle: orNull(text),
  audiences: list(text),
});

const target = fields({
  name: text,
  verdict: text,
  at_us: whole,
  vehicle: orNull(text),
  latitude_deg: orNull(num),
  longitude_deg: orNull(num),
  radius_95_m: orNull(num),
});

/** One record of a find. */
const findRecord = {
  row: whole,
  at_us: whole,
  ago_s: num,
  who: text,
  what: text,
  latitude_deg: orNull(num),
  longitude_deg: orNull(num),
  radius_95_m: orNull(num),
  /** The target whose place it was given. */
  target: orNull(text),
  depth_m: orNull(num),
};

/** A find as it is known now, how many records there are of it, and the first of them. */
const find = fields({
  name: text,
  ...findRecord,
  vehicle: orNull(text),
  photographs: whole,
  drawings: whole,
  records: whole,
  as_found: fields(findRecord),
});

const zone = fields({
  name: text,
  centre: place,
  radius_m: num,
  margin_m: num,
  action: text,
  of: oneOf('file', 'desk'),
  east_m: orNull(num),
  north_m: orNull(num),
});

const keptBack = fields({ at_us: whole, ago_s: num, text, from: list(text), why: list(text) });
const decision = fields({ row: whole, at_us: whole, ago_s: num, who: text, do: text, words: text });
const cut = fields(between);

const programme = fields({
  pinned: orNull(text),
  schedule: list(text),
  next_dive_in_s: orNull(num),
  told_us: orNull(whole),
});

/** How much of the area that an audience was promised is left, km²: by what has left, and by all that is about to. */
const promised = fields({
  audience: text,
  promise_km2: num,
  left_km2: orNull(num),
  ahead_km2: orNull(num),
  state: oneOf('kept', 'waiting', 'near', 'breaks', 'unknown', 'unaudited'),
  words: text,
});

const state = fields({
  now_us: whole,
  expedition: text,
  ship: text,
  clock: fields({ wall: text }),
  language: text,
  dive: fields({ under_way: flag, begun_us: orNull(whole) }),
  stopped: orNull(text),
  alarms: list(text),
  notices: list(fields({ key: text, text })),
  vehicles: list(vehicle),
  audiences: list(audience),
  queue,
  feeds: list(feed),
  journal,
  link,
  uplink: orNull(uplink),
  guests: list(guest),
  waiting: list(waiting),
  targets: list(target),
  finds: list(find),
  /** How many there are of what is told the newest of alone. */
  in_all: fields({ finds: whole }),
  zones: list(zone),
  kept_back: list(keptBack),
  decisions: list(decision),
  cuts: list(cut),
  programme: orNull(programme),
  promises: list(promised),
  verdicts: list(text),
  legs: list(text),
});

/** A moment, metres east and north, and the depth; without a place where none was told, which breaks the line there. */
const fix = row(num, orNull(num), orNull(num), orNull(num));
const lines = named(list(fix));

/** What was said; where the ship doesn't know any more when, it has no place in time and is left out. */
type Said = Omit<Read<typeof said>, 'at_us'> & { readonly at_us: number };
const said = fields({ at_us: orNull(whole), text, out: list(text) });
const annotations: Reader<readonly Said[]> = (value, at) => list(said)(value, at).filter((one): one is Said => one.at_us !== null);

const tracks = fields({
  origin: orNull(place),
  exact: lines,
  /** By audience and vehicle; in seconds of the dive, and in that audience's own frame. */
  sees: named(lines),
  ship: orNull(place),
  ring_m: num,
  covered: list(list(place)),
  plan: orNull(list(place)),
  annotations,
});

export type State = Read<typeof state>;
export type Vehicle = Read<typeof vehicle>;
export type Audience = Read<typeof audience>;
export type Seen = Read<typeof seen>;
export type Feed = Read<typeof feed>;
export type Uplink = Read<typeof uplink>;
export type Ashore = Read<typeof ashore>;
export type Guest = Read<typeof guest>;
export type Target = Read<typeof target>;
export type Find = Read<typeof find>;
export type Zone = Read<typeof zone>;
export type Cut = Read<typeof cut>;
export type Waiting = Read<typeof waiting>;
export type Decision = Read<typeof decision>;
export type KeptBack = Read<typeof keptBack>;
export type Programme = Read<typeof programme>;
export type Promised = Read<typeof promised>;
export type Tracks = Read<typeof tracks>;
export type Annotation = Tracks['annotations'][number];
/** [moment, east_m, north_m, depth_m]. */
export type TrackPoint = Read<typeof fix>;
export type Place = Read<typeof place>;

/** Return the state that `value` is; Misread where a field is missing or of another kind. */
export function readState(value: unknown): State {
  return state(value, 'state');
}

/** Return the tracks that `value` is; Misread where a field is missing or of another kind. */
export function readTracks(value: unknown): Tracks {
  return tracks(value, 'tracks');
}
