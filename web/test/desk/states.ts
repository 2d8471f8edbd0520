/** A state and its tracks as the ship may tell them, in the invented scenario of the examples. */

const S = 1_000_000;
export const NOW_US = 7_200 * S;

const vehicle = {
  name: 'Lantern', heard_ago_s: 0.1, mode: 'inspection', leg: 'bottom', latitude_deg: -12.5012, longitude_deg: 71.2503,
  east_m: 42.5, north_m: -18.2, depth_m: 1_032.4, altitude_m: 3.1, heading_deg: 211, pitch_deg: -1.2, roll_deg: 0.4, speed_mps: 0.31,
  in_doubt: false,
  tether: { length_m: 1_200, slant_m: 1_040, horizontal_m: 80, margin_m: 160, share: 0.87, word: 'within reach' },
  overdue: { sounds: false, words: 'expected back in 2 h', return_in_s: 7_200, next_report_in_s: 40, missing_reports: 0 },
  survey: { line_km: 3.2, area_km2: 0.8, again_share: 0.1, planned_percent: 41.5, passes: 4, words: '4 passes' },
};

const sight = { name: 'Lantern', east_m: 25, north_m: -50, depth_m: 1_030, altitude: 'near the bottom', heading_deg: 202.5, mode: 'inspection', leg: 'bottom', heard: true };

const audience = {
  name: 'public', open: true, invited: false, state: 'releasing', words: 'out now: what came 45 min ago', held: false, outside: 'outside the declared area', delay_s: 2_700,
  edge_us: NOW_US - 2_700 * S, lag_s: 2_700, next_in_s: 9, under_way: true, dive: 3, records: 311, followers: 27, bytes: 40_211,
  fields: ['depth', 'track'], checked: true, sees: { age_s: 2_700, dive_time_s: 1_500, vehicles: [sight] },
};

const funders = { ...audience, name: 'funders', open: false, invited: true, delay_s: 300, edge_us: NOW_US - 300 * S, lag_s: 300, outside: null };

export const STATE = {
  now_us: NOW_US, expedition: 'Isoline Marr', ship: 'Harrow Tern', clock: { wall: '2031-05-04T14:02:10+05:00' }, language: 'en',
  dive: { under_way: true, begun_us: 1_800 * S },
  stopped: 'by the lead', alarms: ['Moth is overdue'], notices: [{ key: 'ais', text: 'Her AIS tells where the ship is.' }],
  vehicles: [vehicle, { ...vehicle, name: 'Moth', east_m: 140, north_m: 96, heading_deg: null, tether: null, overdue: null, survey: null }],
  audiences: [audience, funders],
  queue: { from_us: NOW_US - 2_700 * S, to_us: NOW_US, bucket_us: 300 * S, counts: [20, 20, 18, 0, 20, 20, 20, 19, 12] },
  feeds: [{ name: 'station A', format: 'nmea', vehicle: 'Lantern', of_ship: false, state: 'listening', heard_ago_s: 0.1, accepted: 900, passed_over: 3, rejected: { checksum: 2 }, bytes: 90_000, station: { role: 'primary', counting: true, healthy: true } }],
  journal: { rows: 12_000, bytes: 3_000_000, free_bytes: 9_000_000_000, fault: 'slow', fills_in_s: 900_000 },
  link: { connections: 31, followers: 27, bits_per_s: 8_400, words: 'Little.' },
  uplink: {
    state: 'up', words: 'Connected.', to: 'wss://shore.example:8444/', up_since_s: 4_000, outages: 2, sent_octets: 320_000, bits_per_s: 900, limit_bits_per_s: 64_000,
    audiences: { public: { behind_records: 0, behind_s: 0, held_dive: 3, held_seq: 310, followers: 1_240 }, funders: { behind_records: 12, behind_s: 95, held_dive: 3, held_seq: 299, followers: 6 } },
  },
  guests: [{ id: '5f0c', name: 'Ines Quillen', audience: 'funders', until: '2031-12-31', revoked: false, over: false, opens: 4, last_day: '2031-05-03' }],
  waiting: [{ say: 811, at_us: NOW_US - 50 * S, ago_s: 50, who: 'lead', text: 'A bell, upright.', vehicle: 'Lantern', audiences: ['public'] }],
  targets: [{ name: 'T1', verdict: 'of interest', at_us: NOW_US - 900 * S, vehicle: 'Lantern', latitude_deg: -12.5013, longitude_deg: 71.2506, radius_95_m: 12 }],
  finds: [{
    name: 'the bell', row: 809, at_us: NOW_US - 80 * S, ago_s: 80, who: 'lead', what: 'handbell', latitude_deg: -12.5013, longitude_deg: 71.2506, radius_95_m: 4.5, target: null, depth_m: 1_030.5,
    vehicle: 'Lantern', photographs: 2, drawings: 1, records: 2,
    as_found: { row: 701, at_us: NOW_US - 900 * S, ago_s: 900, who: 'lead', what: 'ship’s bell', latitude_deg: -12.5013, longitude_deg: 71.2506, radius_95_m: 12, target: 'T1', depth_m: null },
  }],
  in_all: { finds: 1 },
  zones: [{ name: 'stern', centre: [-12.502, 71.251], radius_m: 40, margin_m: 20, action: 'withhold', of: 'desk', east_m: 90, north_m: -60 }],
  kept_back: [{ at_us: NOW_US - 800 * S, ago_s: 800, text: 'At 12.5 S', from: ['public'], why: ['a latitude'] }],
  decisions: [{ row: 810, at_us: NOW_US - 60 * S, ago_s: 60, who: 'lead', do: 'hold', words: 'held public' }],
  cuts: [{ from_us: NOW_US - 1_500 * S, to_us: NOW_US - 1_380 * S }],
  programme: { pinned: 'We are at the bow.', schedule: ['Dive 4: the stern'], next_dive_in_s: 9_000, told_us: NOW_US - 400 * S },
  promises: [{ audience: 'public', promise_km2: 87, left_km2: 412, ahead_km2: 104, state: 'near', words: 'public: 412 km2 left to search, 104 km2 with all that is about to leave; 87 km2 are promised' }],
  verdicts: ['unchecked', 'rock', 'modern debris', 'of interest', 'withheld'], legs: ['deck', 'descent', 'bottom', 'ascent'],
};

const line = (count: number, every_s: number, east_m: number): [number, number, number, number][] =>
  Array.from({ length: count }, (_, i) => [i * every_s, east_m + 60 * Math.sin(i / 9), 40 * Math.cos(i / 9), 1_030]);

export const TRACKS = {
  origin: [-12.5, 71.25],
  exact: { Lantern: line(60, 90, 0), Moth: line(20, 270, 120) },
  sees: { public: { Lantern: line(20, 75, 0) }, funders: { Lantern: line(50, 75, 0) } },
  ship: [5, 12], ring_m: 60, covered: [[[0, 0], [100, 0], [100, 80], [0, 80]]], plan: [[-50, -90], [200, -90], [200, 130], [-50, 130]],
  annotations: [{ at_us: NOW_US - 3_000 * S, text: 'The bow.', out: ['public', 'funders'] }, { at_us: NOW_US - 700 * S, text: 'A hatch.', out: ['funders'] }],
};
