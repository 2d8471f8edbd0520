/** The figures behind the drawings, as a table up to the moment shown; made only while it is open. */

import { element, say, saySet } from '../dom';
import * as format from '../format';
import type { State, View } from '../state';
import type { Dive, Track } from '../store';
import { units } from '../units';
import { words } from '../words';

const MOST_TICKS = 40;

/** `save` hands out a file that a link can't fetch: a guest's. */
export function create(root: HTMLElement, save: ((path: string) => void) | null): View {
  const say_ = words.figures;
  const caption = element('caption');
  const plan = words.units[units.plan.name];
  const columns = [say_.time, say_.vehicle, say_.depth(words.units[units.depth.name]), say_.east(plan), say_.north(plan), say_.heading, say_.altitude, say_.leg, say_.attitude];
  const head = element('thead', {}, element('tr', {}, ...columns.map((name) => element('th', { scope: 'col' }, name))));
  const body = element('tbody');
  const table = element('div', { class: 'wide', tabindex: '0', role: 'region', 'aria-label': say_.title }, element('table', {}, caption, head, body));
  const file = element('a', { download: '' }, say_.download);
  const checked = element('span');
  const unread = element('p', { class: 'soft' });
  const details = element('details', {}, element('summary', {}, say_.title), table, element('p', {}, file, checked), unread);
  root.append(details);
  let last: State | null = null;
  const draw = (state: State): void => {
    last = state;
    const { dive, dives, integrity, at } = state;
    if (!dive || !details.open) return;
    const total = format.number(at + 1);
    say(caption, at + 1 <= MOST_TICKS ? say_.captionAll(total) : say_.caption(format.number(MOST_TICKS), total));
    body.replaceChildren(...rows(dive, at));
    file.href = dives.find((entry) => entry.dive === dive.dive)?.recording ?? '';
    file.hidden = file.getAttribute('href') === '';
    const told = integrity === 'verified' || integrity === 'unchecked' || (integrity === 'incomplete' && !state.live) ? say_[integrity] : '';
    say(checked, told === '' ? '' : `: ${told}`);
    say(unread, dive.unknown > 0 ? say_.unread(format.number(dive.unknown)) : '');
  };
  file.addEventListener('click', (event) => {
    if (save === null) return;
    event.preventDefault();
    save(file.getAttribute('href') ?? '');
  });
  details.addEventListener('toggle', () => last && draw(last));
  return { draw, destroy: () => root.replaceChildren() };
}

function rows(dive: Dive, at: number): HTMLElement[] {
  const made: HTMLElement[] = [];
  for (let i = at; i >= 0 && i > at - MOST_TICKS; i -= 1) {
    dive.tracks.forEach((track, vehicle) => {
      const time = element('th', { scope: 'rowgroup', rowspan: String(dive.tracks.length) }, format.clock(dive.elapsed_s[i] as number));
      made.push(element('tr', {}, vehicle === 0 ? time : null, ...cells(dive, track, i).map(cell)));
    });
  }
  return made;
}

function cell(text: string): HTMLElement {
  const made = element('td');
  saySet(made, text);
  return made;
}

function cells(dive: Dive, track: Track, i: number): string[] {
  const say_ = words.figures;
  if (!track.heard(i)) return [track.name, say_.silent, '', '', '', '', '', ''];
  const { depth_step_m, cell_m } = dive.header;
  const told = (value_m: number | undefined, step_m: number | null, figure: (value_m: number, step_m: number) => string): string =>
    value_m === undefined || Number.isNaN(value_m) ? say_.untold : figure(value_m, step_m ?? 1);
  const turned = track.heading_deg[i] as number;
  const [pitch, roll] = [track.pitch_deg[i] as number, track.roll_deg[i] as number];
  const leg = track.leg(i);
  const altitude = track.altitude(i);
  const altitudes = { 'on the bottom': words.vehicle.onTheBottom, 'near the bottom': words.vehicle.nearTheBottom, 'mid-water': words.vehicle.midWater };
  return [
    track.name,
    told(track.depth_m[i], depth_step_m, format.depthFigure),
    told(track.east_m[i], cell_m, format.lengthFigure),
    told(track.north_m[i], cell_m, format.lengthFigure),
    Number.isNaN(turned) ? say_.untold : format.angle(turned),
    altitude === null ? say_.untold : altitudes[altitude],
    leg === null ? say_.untold : words.vehicle[leg],
    Number.isNaN(pitch) && Number.isNaN(roll) ? say_.untold : [pitch, roll].map((value) => (Number.isNaN(value) ? say_.untold : format.angle(value))).join(', '),
  ];
}
