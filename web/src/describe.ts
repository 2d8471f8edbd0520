/**
 * What the page says about a moment, in words: headline, vehicles, and the labels of every drawing.
 *
 * Rules: pure; every state that is drawn is also said; what isn't told is said to be not told.
 */

import * as format from './format';
import { chaptersOf, currentChapter, type Chapter } from './chapters';
import { bottom_s, pace, way_m, type Pace } from './pace';
import { gridStep } from './scale';
import { isOver, isReplay, type Connection, type State } from './state';
import type { Dive, Note, Target, Track } from './store';
import { covered_m2 } from './swath';
import type { Leg } from './decode';
import { units } from './units';
import { words } from './words';

/** The line that is always visible: how late, how coarse. */
export function honestLine(state: State): { late: string; place: string } {
  const header = state.dive?.header;
  const { honest } = words;
  if (!header) return { late: honest.before, place: honest.localBefore };
  const [least_s, most_s] = header.delay_s;
  const recorded = isReplay(state) || (state.dive?.over ?? false);
  if (!recorded && isOverdue(state.connection)) {
    return { late: most_s === 0 ? honest.promptOverdue : honest.overdue(format.delay(most_s, most_s)), place: placeLine(state) };
  }
  if (most_s === 0) return { late: recorded ? honest.promptRecorded : honest.prompt, place: placeLine(state) };
  const delay = format.delay(least_s, most_s);
  return { late: recorded ? honest.recorded(delay) : honest.late(delay), place: placeLine(state) };
}

/** Whether something newer should have come: what is shown is then later than the delay says. */
function isOverdue({ is }: Connection): boolean {
  return is === 'delayed' || is === 'disconnected' || is === 'full' || is === 'not invited' || is === 'altered';
}

function placeLine({ dive }: State): string {
  const { honest } = words;
  if (!dive) return '';
  const { place, area, fields } = dive.header;
  if (area !== null) return honest.area(area);
  if (place === 'exact') return honest.exact;
  return fields.has('track') ? honest.local : honest.untold;
}

export interface Headline {
  readonly title: string;
  readonly more: string;
}

/** The largest words on the page. */
export function headline(state: State): Headline {
  const { headline: say } = words;
  const { dive, at, playhead } = state;
  if (!dive) return withoutDive(state);
  if (isOver(state)) {
    const deepest_m = dive.deepest_m(dive.count - 1);
    return {
      title: say.over,
      more: say.overMore(format.span(dive.end_s), Number.isNaN(deepest_m) || dive.header.isDepthRelative ? null : about(dive, deepest_m)),
    };
  }
  if (at < 0) return { title: say.starting, more: say.startingMore };
  return { title: doing(dive, at), more: say.into(format.span(playhead.at_s)) };
}

function withoutDive({ listed, wanted, integrity, connection, proof }: State): Headline {
  const { headline: say } = words;
  if (connection.is === 'no such audience') return words.time.audience;
  if (connection.is === 'invitation ended') return words.guest;
  if (connection.is === 'not invited') return words.guest.unknown;
  if (proof?.is === 'altered') return { title: words.proof.alarm.notShown, more: '' };
  if (integrity === 'damaged' && proof?.is !== 'checking') return { title: say.damaged, more: say.damagedMore };
  if (wanted === null && listed) return { title: say.noDive, more: say.noDiveMore };
  if (integrity === 'unreachable' || connection.is === 'disconnected' || connection.is === 'full') return { title: say.unreachable, more: say.unreachableMore };
  return { title: say.fetching, more: say.fetchingMore };
}

/** Say what the first vehicle heard is doing, and who does the same. */
function doing(dive: Dive, at: number): string {
  const { headline: say } = words;
  const heard = dive.tracks.filter((track) => track.heard(at));
  const first = heard[0];
  if (!first) return say.noReport(dive.tracks.map((track) => track.name));
  const key = doingKey(first, at);
  return say[key](heard.filter((track) => doingKey(track, at) === key).map((track) => track.name));
}

function doingKey(track: Track, at: number): Leg | 'onTheBottom' | 'underWay' {
  const altitude = track.altitude(at);
  const leg = track.leg(at);
  if (altitude === 'on the bottom') return 'onTheBottom';
  return leg ?? 'underWay';
}

/** "about 1,140 m", to the decimals of the dive's depth step; relative depths say from where. */
export function about(dive: Dive, depth_m: number): string {
  const { depth_step_m, isDepthRelative } = dive.header;
  const say = words.vehicle;
  const size = format.depth(isDepthRelative ? Math.abs(depth_m) : depth_m, depth_step_m ?? 1);
  if (!isDepthRelative) return say.about(size);
  if (depth_m === 0) return say.asFirst;
  return depth_m > 0 ? say.belowFirst(size) : say.aboveFirst(size);
}

/** The last note up to the moment shown: whose, and how long before. */
export function latestNote(state: State): { text: string; by: string } | null {
  const { dive, playhead } = state;
  const note = dive?.notes.findLast(({ elapsed_s }) => elapsed_s <= playhead.at_s);
  if (!dive || !note || isOver(state)) return null;
  const ago_s = playhead.at_s - note.elapsed_s;
  const when = ago_s < 60 ? words.notes.justThen : words.notes.earlier(format.span(ago_s));
  const vehicle = note.vehicle === null ? null : (dive.tracks[note.vehicle] as Track).name;
  return { text: note.text, by: words.notes.by(vehicle, when) };
}

export interface VehicleWords {
  readonly name: string;
  readonly where: string;
  readonly heard: boolean;
  readonly lines: readonly (readonly [string, string])[];
}

const noteSpoken = ({ text, still }: Note): string => (still === null ? words.spoken.note(text) : words.spoken.noteWithStill(text));

/** What is told of one vehicle at the moment shown. */
export function vehicleWords(dive: Dive, index: number, at: number): VehicleWords {
  const track = dive.tracks[index] as Track;
  const say = words.vehicle;
  const last = at < 0 ? -1 : (track.lastHeard[at] as number);
  if (last < 0) return { name: track.name, where: say.never, heard: false, lines: [] };
  if (last !== at) return silent(dive, track, last, at);
  return { name: track.name, where: where(track, at), heard: true, lines: lines(dive, track, at) };
}

/** What one vehicle did in the whole of a dive that is over. */
export function vehicleSummary(dive: Dive, index: number): VehicleWords {
  const track = dive.tracks[index] as Track;
  const say = words.vehicle;
  const last = dive.count - 1;
  const deepest_m = track.deepest_m[last] ?? NaN;
  const found: [string, string][] = [];
  if (!Number.isNaN(deepest_m)) found.push([say.deepest, about(dive, deepest_m)]);
  found.push(...sums(dive, track, last));
  return { name: track.name, where: '', heard: true, lines: found };
}

/** How long it was at work below, and how far it went, up to tick `at`. */
function sums(dive: Dive, track: Track, at: number): [string, string][] {
  const say = words.vehicle;
  const below_s = bottom_s(dive, track, at);
  const told_m = way_m(dive, track, at);
  const found: [string, string][] = [];
  if (below_s) found.push([say.below, format.span(below_s)]);
  if (told_m) found.push([say.way, say.about(format.coarseLength(told_m))]);
  return found;
}

/** What was done in the dive up to the moment shown, by all vehicles together. */
export function diveSums({ dive, at, playhead }: State): readonly (readonly [string, string])[] {
  if (!dive) return [];
  const say = words.time.sums;
  const found: [string, string][] = [];
  const area_m2 = covered_m2(dive, at);
  if (area_m2) found.push([say.area, say.about(format.area(area_m2))]);
  const targets = latestTargets(dive, playhead.at_s);
  const checked = targets.filter(({ verdict }) => verdict !== 'unchecked');
  if (targets.length > 0) found.push([say.targets, say.checked(format.number(checked.length), format.number(targets.length))]);
  return found;
}

/** Each target told up to `at_s` once, with its last verdict. */
export function latestTargets(dive: Dive, at_s: number): Target[] {
  const found = new Map<string, Target>();
  for (const target of dive.targets) if (target.elapsed_s <= at_s) found.set(target.name, target);
  return [...found.values()];
}

/** What a chapter is about. */
export function chapterWords(chapter: Chapter): string {
  if (chapter.is === 'leg') return words.headline[chapter.leg](chapter.vehicles);
  if (chapter.is === 'note') return chapter.text;
  const verdict = chapter.verdict === null ? words.targets.unknown : words.targets.verdicts[chapter.verdict];
  return words.time.chapters.target(chapter.name, verdict);
}

/** Why the moment of a link isn't the one shown; '' where it is. */
export function remarkWords({ remark }: State): string {
  const say = words.time.remark;
  if (remark === null) return '';
  return remark.is === 'no such dive' ? say.noSuchDive(String(remark.dive)) : say.notYet(format.clock(remark.at_s));
}

function silent(dive: Dive, track: Track, last: number, at: number): VehicleWords {
  const quiet_s = (dive.elapsed_s[at] as number) - (dive.elapsed_s[last] as number);
  const depth_m = track.depth_m[last] as number;
  const lines = [...(Number.isNaN(depth_m) ? [] : [[words.vehicle.lastDepth, about(dive, depth_m)] as const]), ...sums(dive, track, at)];
  return { name: track.name, where: words.vehicle.silentFor(format.span(quiet_s)), heard: false, lines };
}

function where(track: Track, at: number): string {
  const say = words.vehicle;
  const altitude = track.altitude(at);
  const leg = track.leg(at);
  if (altitude === 'on the bottom') return say.onTheBottom;
  if (altitude === 'near the bottom') return say.nearTheBottom;
  if (leg !== null) return say[leg];
  return altitude === 'mid-water' ? say.midWater : say.underWay;
}

function lines(dive: Dive, track: Track, at: number): [string, string][] {
  const say = words.vehicle;
  const found: [string, string][] = [];
  const depth_m = track.depth_m[at] as number;
  const heading_deg = track.heading_deg[at] as number;
  const mode = track.mode(at);
  if (!Number.isNaN(depth_m)) found.push([say.depth, about(dive, depth_m)]);
  if (!Number.isNaN(heading_deg)) found.push([say.pointing, say.pointingValue(format.angle(heading_deg))]);
  const told = pace(dive, track, at);
  if (told !== null) found.push([say.pace, paceWords(told)]);
  found.push(...sums(dive, track, at));
  if (mode !== null) found.push([say.mode, say[mode]]);
  return found;
}

function paceWords({ speed_mps, over_s }: Pace): string {
  const time = format.span(over_s);
  return speed_mps < 0.05 ? words.vehicle.paceStill(time) : words.vehicle.paceValue(format.speed(speed_mps), time);
}

export interface ConnectionWords {
  readonly word: string;
  readonly more: string;
  readonly mark: 'full' | 'half' | 'empty' | 'play';
  readonly retry: boolean;
}

/** The state of the connection; "replay" stands before it where what is shown is not live. */
export function connectionWords(state: State): ConnectionWords {
  const { connection } = state;
  const say = words.connection;
  if (isReplay(state) && (connection.is === 'connected' || connection.is === 'delayed')) {
    return { word: say.replay, more: goingOn(state), mark: 'play', retry: false };
  }
  return linkWords(connection);
}

function goingOn({ live, dive, dives }: State): string {
  if (live) return dive?.over ? '' : words.connection.lookingBack;
  return dives.some((entry) => !entry.closed) ? words.connection.otherGoingOn : '';
}

function linkWords(connection: Connection): ConnectionWords {
  const say = words.connection;
  switch (connection.is) {
    case 'connected':
      return { word: say.connected, more: '', mark: 'full', retry: false };
    case 'delayed':
      return { word: say.delayed, more: say.delayedFor(format.span(connection.silent_s)), mark: 'half', retry: false };
    case 'disconnected':
    case 'full':
    case 'not invited': {
      const more = connection.retry_s > 0 ? say.tryingIn(format.span(Math.ceil(connection.retry_s))) : say.tryingNow;
      return { word: connection.is === 'not invited' ? words.guest.unknown.word : say[connection.is], more, mark: 'empty', retry: connection.retry_s > 0 };
    }
    case 'refused':
      return { word: say.refused, more: say.refusedWhy, mark: 'empty', retry: false };
    case 'outdated':
      return { word: say.outdated, more: say.outdatedWhy, mark: 'empty', retry: false };
    case 'no such audience':
      return { word: words.time.audience.word, more: '', mark: 'empty', retry: false };
    case 'invitation ended':
      return { word: words.guest.title, more: '', mark: 'empty', retry: false };
    case 'altered':
      return { word: words.proof.connection, more: words.proof.connectionMore, mark: 'empty', retry: true };
    case 'recordings only':
      return { word: say.recordingsOnly, more: '', mark: 'play', retry: false };
    default:
      return { word: say.connecting, more: '', mark: 'half', retry: false };
  }
}

/** Why there is no track to draw, or null where there is one up to `at`. */
export function trackMissing(dive: Dive, at: number): string | null {
  const { header, tracks } = dive;
  if (!header.fields.has('track')) return header.area === null ? words.plan.noTrack : words.plan.areaAlone(header.area);
  const placed = tracks.some((track) => track.firstPlaced >= 0 && track.firstPlaced <= at);
  return placed ? null : words.plan.noTrackYet;
}

/** The label of the plan. `pixelsPerMetre` is the scale it is drawn to. */
export function planLabel({ dive, at }: State, pixelsPerMetre: number, gridPixels: number): string {
  if (!dive) return '';
  const missing = trackMissing(dive, at);
  if (missing !== null) return words.plan.labelEmpty(missing);
  const where = dive.tracks.map((track) => placeOnPlan(dive, track, at)).join(' ');
  return words.plan.label(where, format.exactLength(gridStep(pixelsPerMetre, gridPixels, units.plan.size)));
}

function placeOnPlan({ header }: Dive, track: Track, at: number): string {
  const say = words.plan;
  const length = (length_m: number): string => format.length(Math.abs(length_m), header.cell_m ?? 1);
  if (Number.isNaN(track.east_m[at] ?? NaN)) return say.whereUnknown(track.name);
  const first = track.firstPlaced;
  const right_m = (track.east_m[at] as number) - (track.east_m[first] as number);
  const up_m = (track.north_m[at] as number) - (track.north_m[first] as number);
  if (right_m === 0 && up_m === 0) return say.whereStart(track.name);
  const right = right_m === 0 ? say.level : (right_m > 0 ? say.right : say.left)(length(right_m));
  const up = up_m === 0 ? say.level : (up_m > 0 ? say.above : say.below)(length(up_m));
  return say.whereOf(track.name, right, up);
}

/** The label of the water column. */
export function columnLabel({ dive, at }: State): string {
  const say = words.column;
  if (!dive) return '';
  const deepest_m = dive.deepest_m(at);
  if (Number.isNaN(deepest_m)) return say.labelEmpty(say.noDepth);
  const each = dive.tracks.map((track) => {
    const depth_m = at < 0 ? NaN : (track.depth_m[at] as number);
    return Number.isNaN(depth_m) ? say.unknown(track.name) : say.at(track.name, about(dive, depth_m), where(track, at));
  });
  return say.label(each.join(' '), about(dive, deepest_m));
}

/** The label of depth over time. */
export function depthLabel({ dive, at }: State): string {
  if (!dive) return '';
  const deepest_m = dive.deepest_m(at);
  if (Number.isNaN(deepest_m)) return words.depth.labelEmpty;
  return words.depth.label(format.span(dive.elapsed_s[at] ?? 0), about(dive, deepest_m));
}

/** What the time ribbon says of itself as a slider. */
export function ribbonValue(state: State): string {
  const { dive, at, playhead } = state;
  if (!dive) return '';
  const what = at < 0 ? words.headline.starting : isOver(state) ? words.headline.over : doing(dive, at);
  const chapters = chaptersOf(dive);
  const chapter = chapters[currentChapter(chapters, playhead.at_s)];
  const more = chapter && chapter.is !== 'leg' ? ` ${words.time.ribbon.chapter(chapterWords(chapter))}` : '';
  return words.ribbon.value(format.span(playhead.at_s), `${what}.${more}`);
}

/** The title of the browser tab. */
export function pageTitle(state: State): string {
  if (state.expedition === null || state.wanted === null) return state.expedition ?? words.page.title;
  return words.page.titleOf(state.expedition, words.picker.one(String(state.wanted)), headline(state).title);
}

/** What is worth saying aloud, '' while nothing is known; a listener hears it only when it differs from the last time. */
export function announcement(state: State): string {
  const { dive, at } = state;
  if (state.connection.is === 'connecting') return '';
  const link = words.spoken.connection(connectionWords(state).word);
  if (!dive || at < 0 || state.playhead.mode !== 'following') return `${headline(state).title}. ${link}`;
  const each = dive.tracks.map((track, i) => `${track.name}: ${track.heard(at) ? vehicleWords(dive, i, at).where : words.vehicle.silent}.`);
  const note = dive.notes[dive.notes.length - 1];
  return [`${headline(state).title}.`, ...each, note ? noteSpoken(note) : '', link].filter(Boolean).join(' ');
}

/** About how long until the next dive begins here; null where it isn't told, has begun, or nobody knows how old that is. */
export function nextDive({ programme, dives, connection }: State): string | null {
  const isFresh = connection.is === 'connected' || connection.is === 'delayed';
  if (!programme || programme.left_s === null || !isFresh || (dives.at(-1)?.dive ?? 0) >= programme.dive) return null;
  const { left_s } = programme;
  if (left_s === 0) return words.programme.soon;
  return words.programme.next(left_s < 172_800 ? format.span(left_s) : words.programme.days(format.number(left_s / 86_400)));
}
