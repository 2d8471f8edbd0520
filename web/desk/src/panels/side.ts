/** Each vehicle now, exact, beside what each audience sees of it now, late: a table, since it is one. */

import { element, mark, say } from '../../../src/dom';
import { angle, count, heading, metres, place, span, wholeMetres } from '../figures';
import type { Panel } from '../shown';
import type { Audience, Seen, Vehicle } from '../state';
import { words } from '../words';

const W = words.side;
const UNKNOWN = '–';

/** A quantity: its name, what it is now, and what is seen of it. */
interface Quantity {
  readonly name: string;
  readonly exact: (vehicle: Vehicle) => string | null;
  readonly seen: (seen: Seen) => string | null;
}

const or = <T>(value: T | null, saying: (value: T) => string): string | null => (value === null ? null : saying(value));

const QUANTITIES: readonly Quantity[] = [
  {
    name: W.place,
    exact: ({ latitude_deg, longitude_deg }) => (latitude_deg === null || longitude_deg === null ? null : place(latitude_deg, longitude_deg)),
    seen: ({ east_m, north_m }) => (east_m === null || north_m === null ? null : W.local(wholeMetres(east_m), wholeMetres(north_m))),
  },
  { name: W.depth, exact: ({ depth_m }) => or(depth_m, metres), seen: ({ depth_m }) => or(depth_m, metres) },
  { name: W.altitude, exact: ({ altitude_m }) => or(altitude_m, metres), seen: ({ altitude }) => altitude },
  { name: W.heading, exact: ({ heading_deg }) => or(heading_deg, heading), seen: ({ heading_deg }) => or(heading_deg, (value) => angle(value)) },
  { name: W.attitude, exact: ({ pitch_deg, roll_deg }) => `${or(pitch_deg, angle) ?? UNKNOWN}, ${or(roll_deg, angle) ?? UNKNOWN}`, seen: () => null },
  { name: W.speed, exact: ({ speed_mps }) => or(speed_mps, (speed) => W.speedOf(speed.toFixed(1))), seen: () => null },
  { name: W.leg, exact: ({ leg }) => leg, seen: ({ leg }) => leg },
  { name: W.mode, exact: ({ mode }) => mode, seen: ({ mode }) => mode },
];

export function create(root: HTMLElement): Panel {
  const caption = element('caption', { class: 'unseen' }, W.caption);
  const table = element('table', {}, caption);
  root.append(table);
  let shape = '';
  let [head, groups]: [HTMLTableRowElement, readonly Group[]] = [element('tr'), []];
  return {
    draw({ state: { vehicles, audiences } }) {
      const wanted = JSON.stringify([vehicles.map(({ name }) => name), audiences.map(({ name }) => name)]);
      if (wanted !== shape) {
        head = headRow(audiences);
        groups = vehicles.map(({ name }) => group(name, audiences));
        table.replaceChildren(caption, element('thead', {}, head), ...groups.map((one) => one.root));
        shape = wanted;
      }
      audiences.forEach((audience, at) => drawHead(head.cells[at + 2], audience));
      vehicles.forEach((vehicle, at) => groups[at]?.draw(vehicle, audiences));
    },
  };
}

function headRow(audiences: readonly Audience[]): HTMLTableRowElement {
  const columns = audiences.map(() => element('th', { scope: 'col' }, element('span', {}), element('span', { class: 'late' })));
  return element('tr', {}, element('td', {}), element('th', { scope: 'col' }, W.now), ...columns);
}

function drawHead(cell: HTMLTableCellElement | undefined, audience: Audience): void {
  if (!cell) return;
  const [name, how] = [...cell.children] as HTMLElement[];
  if (name) say(name, W.sees(audience.name));
  if (how) say(how, howSeen(audience));
  mark(cell, 'data-state', audience.state);
}

/** Say how late an audience sees the dive; between dives nothing is late, and what it saw last was some time ago. */
export function howSeen({ sees, state, followers }: Pick<Audience, 'sees' | 'state' | 'followers'>): string {
  const age_s = sees?.age_s ?? null;
  const age = age_s === null ? W.nothing : state === 'between dives' ? W.last(span(age_s)) : W.late(span(age_s));
  return [age, W.state[state], W.followers(count(followers))].join(' · ');
}

interface Group {
  readonly root: HTMLElement;
  draw(vehicle: Vehicle, audiences: readonly Audience[]): void;
}

/** One vehicle: its name and what there is to say of it, then a row for each quantity. */
function group(name: string, audiences: readonly Audience[]): Group {
  const told = element('span', { class: 'told-of' });
  const title = element('tr', {}, element('th', { scope: 'rowgroup', colspan: String(audiences.length + 2) }, element('strong', {}, name), ' ', told));
  const rows = QUANTITIES.map(({ name: quantity }) => element('tr', {}, element('th', { scope: 'row' }, quantity), element('td', { class: 'exact' }), ...audiences.map(() => element('td'))));
  return {
    root: element('tbody', {}, title, ...rows),
    draw(vehicle, now) {
      const sentences = wordsOf(vehicle);
      say(told, sentences.join(' · '));
      mark(told, 'data-sounds', vehicle.in_doubt || vehicle.overdue?.sounds ? 'true' : null);
      rows.forEach(({ cells }, at) => {
        const quantity = QUANTITIES[at];
        if (!quantity) return;
        write(cells[1], quantity.exact(vehicle) ?? UNKNOWN);
        now.forEach((audience, column) => write(cells[column + 2], seenAs(quantity, audience, name)));
      });
    },
  };
}

function write(cell: HTMLElement | undefined, text: string): void {
  if (!cell) return;
  say(cell, text);
  mark(cell, 'data-none', text === UNKNOWN || text === W.notSeen ? 'true' : null);
}

function seenAs(quantity: Quantity, audience: Audience, vehicle: string): string {
  const seen = audience.sees?.vehicles.find(({ name }) => name === vehicle);
  return seen ? (quantity.seen(seen) ?? W.notSeen) : UNKNOWN;
}

function wordsOf({ heard_ago_s, in_doubt, overdue, tether, survey }: Vehicle): readonly string[] {
  return [
    heard_ago_s === null ? W.never : W.heard(span(heard_ago_s)),
    ...(in_doubt ? [W.inDoubt] : []),
    ...(overdue ? [overdue.sounds ? W.overdue(overdue.words) : overdue.words] : []),
    ...(tether ? [W.tether(tether.word, metres(tether.margin_m))] : []),
    ...(survey ? [survey.words] : []),
  ];
}
