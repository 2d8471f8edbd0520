/** Each vehicle now, exact, beside what each audience sees of it now, late: a table, since it is one. */

import { element, mark, say } from '../../../src/dom';
import { angle, count, heading, metres, place, span } from '../figures';
import type { Panel } from '../shown';
import type { Audience, Seen, Vehicle } from '../state';
import { words } from '../words';

type Facts = readonly (readonly [string, string])[];

export function create(root: HTMLElement): Panel {
  const table = element('table', {}, element('caption', { class: 'unseen' }, words.side.caption));
  const head = element('thead', {});
  const body = element('tbody', {});
  table.append(head, body);
  root.append(table);
  let shape = '';
  return {
    draw({ state: { vehicles, audiences } }) {
      const wanted = JSON.stringify([vehicles.map(({ name }) => name), audiences.map(({ name }) => name)]);
      if (wanted !== shape) {
        build(head, body, vehicles, audiences);
        shape = wanted;
      }
      audiences.forEach((audience, at) => drawHead(head.rows[0]?.cells[at + 2], audience));
      vehicles.forEach((vehicle, row) => {
        const cells = body.rows[row]?.cells;
        fill(cells?.[1], exactFacts(vehicle), exactWords(vehicle));
        audiences.forEach((audience, at) => fill(cells?.[at + 2], seenFacts(seenOf(audience, vehicle.name)), seenWords(audience, vehicle.name)));
      });
    },
  };
}

function build(head: HTMLElement, body: HTMLElement, vehicles: readonly Vehicle[], audiences: readonly Audience[]): void {
  const columns = [element('td', {}), element('th', { scope: 'col' }, words.side.now), ...audiences.map(() => element('th', { scope: 'col' }))];
  head.replaceChildren(element('tr', {}, ...columns));
  body.replaceChildren(
    ...vehicles.map(({ name }) => element('tr', {}, element('th', { scope: 'row' }, name), element('td', { class: 'exact' }), ...audiences.map(() => element('td', {})))),
  );
}

function drawHead(cell: HTMLElement | undefined, audience: Audience): void {
  if (!cell) return;
  const late = audience.sees ? words.side.late(span(audience.sees.age_s)) : words.side.nothing;
  const next = audience.next_in_s === null || audience.held ? [] : [words.side.next(span(audience.next_in_s))];
  const parts = [late, words.side.state[audience.state], ...next, words.side.followers(count(audience.followers))];
  const text = `${words.side.sees(audience.name)}|${parts.join(' · ')}`;
  if (cell.dataset.text === text) return;
  cell.dataset.text = text;
  cell.replaceChildren(element('span', {}, words.side.sees(audience.name)), element('span', { class: 'late' }, parts.join(' · ')));
  mark(cell, 'data-state', audience.state);
}

const seenOf = (audience: Audience, vehicle: string): Seen | null => audience.sees?.vehicles.find(({ name }) => name === vehicle) ?? null;
const known = <T>(value: T | null, saying: (value: T) => string): string => (value === null ? words.side.notSeen : saying(value));

function exactFacts(vehicle: Vehicle): Facts {
  const { latitude_deg, longitude_deg } = vehicle;
  const unknown = '–';
  const or = (value: number | null, saying: (value: number) => string): string => (value === null ? unknown : saying(value));
  return [
    [words.side.place, latitude_deg === null || longitude_deg === null ? unknown : place(latitude_deg, longitude_deg)],
    [words.side.depth, or(vehicle.depth_m, metres)],
    [words.side.altitude, or(vehicle.altitude_m, metres)],
    [words.side.heading, or(vehicle.heading_deg, heading)],
    [words.side.speed, or(vehicle.speed_mps, (speed) => `${speed.toFixed(1)}\u00a0m/s`)],
    [words.side.attitude, `${or(vehicle.pitch_deg, angle)}, ${or(vehicle.roll_deg, angle)}`],
    [words.side.leg, vehicle.leg ?? unknown],
    [words.side.mode, vehicle.mode ?? unknown],
  ];
}

function exactWords(vehicle: Vehicle): readonly string[] {
  const { heard_ago_s, in_doubt, overdue, tether, survey } = vehicle;
  return [
    heard_ago_s === null ? words.side.never : words.side.heard(span(heard_ago_s)),
    ...(in_doubt ? [words.side.inDoubt] : []),
    ...(overdue ? [overdue.sounds ? words.side.overdue(overdue.words) : overdue.words] : []),
    ...(tether ? [words.side.tether(tether.word, metres(tether.margin_m))] : []),
    ...(survey ? [survey.words] : []),
  ];
}

function seenFacts(seen: Seen | null): Facts {
  if (!seen) return [];
  const { east_m, north_m } = seen;
  return [
    [words.side.place, east_m === null || north_m === null ? words.side.notSeen : words.side.local(metres(east_m), metres(north_m))],
    [words.side.depth, known(seen.depth_m, metres)],
    [words.side.altitude, known(seen.altitude, String)],
    [words.side.heading, known(seen.heading_deg, (value) => angle(value))],
    [words.side.leg, known(seen.leg, String)],
    [words.side.mode, known(seen.mode, String)],
  ];
}

function seenWords(audience: Audience, vehicle: string): readonly string[] {
  const seen = seenOf(audience, vehicle);
  if (!seen) return [words.side.nothing];
  return seen.heard ? [] : [words.side.unheard];
}

/** Put facts and sentences into a cell; its elements stay while their number does. */
function fill(cell: HTMLElement | undefined, facts: Facts, sentences: readonly string[]): void {
  if (!cell) return;
  const shape = `${facts.map(([name]) => name).join()}|${sentences.length}`;
  if (cell.dataset.shape !== shape) {
    cell.dataset.shape = shape;
    const list = element('dl', {}, ...facts.map(([name]) => element('div', {}, element('dt', {}, name), element('dd', {}))));
    cell.replaceChildren(...(facts.length > 0 ? [list] : []), ...sentences.map(() => element('p', {})));
  }
  cell.querySelectorAll('dd').forEach((node, at) => say(node, facts[at]?.[1] ?? ''));
  cell.querySelectorAll('p').forEach((node, at) => say(node, sentences[at] ?? ''));
}
