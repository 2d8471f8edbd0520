/** What is going on, in the largest words of the page, then each vehicle in a few lines. */

import { diveSums, headline, latestNote, vehicleSummary, vehicleWords, type VehicleWords } from '../describe';
import { element, mark, say, saySet } from '../dom';
import { legendMark } from '../paint';
import { isOver, type State, type View } from '../state';
import type { Dive } from '../store';
import { words } from '../words';

export function create(root: HTMLElement): View {
  const title = element('h2');
  const more = element('p', { class: 'more' });
  const vehicles = element('div', { class: 'vehicles', role: 'group', 'aria-label': words.vehicle.heading });
  const text = element('p');
  const by = element('p', { class: 'by' });
  const note = element('blockquote', {}, text, by);
  const sums = element('dl');
  const whole = element('section', { class: 'vehicle sums' }, element('h3', {}, words.time.sums.title), sums);
  root.append(title, more, note, vehicles, whole);
  let drawn: Dive | null = null;
  let blocks: Block[] = [];
  return {
    draw(state: State): void {
      const head = headline(state);
      say(title, head.title);
      saySet(more, head.more);
      const latest = latestNote(state);
      note.hidden = latest === null;
      say(text, latest?.text ?? '');
      saySet(by, latest?.by ?? '');
      const told = diveSums(state);
      tell(sums, told);
      whole.hidden = told.length === 0;
      const { dive } = state;
      if (dive !== drawn) {
        blocks = (dive?.tracks ?? []).map((_, vehicle) => block(vehicle));
        vehicles.replaceChildren(...blocks.map(({ node }) => node));
        drawn = dive;
      }
      if (!dive) return;
      const over = isOver(state);
      blocks.forEach((one, vehicle) => one.show(over ? vehicleSummary(dive, vehicle) : vehicleWords(dive, vehicle, state.at)));
    },
    destroy: () => root.replaceChildren(),
  };
}

interface Block {
  readonly node: HTMLElement;
  show(vehicle: VehicleWords): void;
}

function block(vehicle: number): Block {
  const name = element('span');
  const where = element('span', { class: 'where' });
  const list = element('dl');
  const heading = element('div', { class: 'vehicle-head' }, element('h3', {}, legendMark(vehicle), name), where);
  const node = element('section', { class: 'vehicle' }, heading, list);
  return {
    node,
    show(told: VehicleWords): void {
      say(name, told.name);
      saySet(where, told.where);
      mark(node, 'data-heard', String(told.heard));
      tell(list, told.lines);
    },
  };
}

/** Tell lines of a label and a value each, and touch none that says the same already. */
function tell(list: HTMLElement, lines: readonly (readonly [string, string])[]): void {
  while (list.children.length > lines.length) list.lastElementChild?.remove();
  while (list.children.length < lines.length) list.append(element('div', {}, element('dt'), element('dd')));
  lines.forEach(([label, value], n) => {
    const [term, told] = (list.children[n] as HTMLElement).children;
    say(term as HTMLElement, label);
    saySet(told as HTMLElement, value);
  });
}
