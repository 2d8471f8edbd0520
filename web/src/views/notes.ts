/** The notes written on board, as a list; each one leads to its moment. */

import { element, mark, say } from '../dom';
import * as format from '../format';
import type { Act, State, View } from '../state';
import type { Dive, Note } from '../store';
import { words } from '../words';

export function create(root: HTMLElement, act: Act): View {
  const none = element('p', { class: 'soft' });
  const list = element('ol', { class: 'notes' });
  const later = element('p', { class: 'soft' });
  root.append(element('h2', {}, words.notes.title), list, none, later);
  let drawn: Dive | null = null;
  let items: HTMLElement[] = [];
  return {
    draw({ dive, playhead }: State): void {
      if (!dive) return;
      if (dive !== drawn) {
        items = [];
        list.replaceChildren();
        drawn = dive;
      }
      while (items.length < dive.notes.length) {
        const node = item(dive, dive.notes[items.length] as Note, act);
        items.push(node);
        list.prepend(node);
      }
      const shown = dive.notes.filter((note) => note.elapsed_s <= playhead.at_s);
      items.forEach((node, i) => {
        node.hidden = (dive.notes[i] as Note).elapsed_s > playhead.at_s;
        mark(node, 'aria-current', shown.length > 0 && i === shown.length - 1 ? 'true' : null);
      });
      const waiting = dive.notes.length - shown.length;
      say(none, dive.header.fields.has('notes') ? words.notes.none : words.notes.withheld);
      none.hidden = dive.notes.length > 0;
      say(later, waiting > 0 ? words.notes.later(format.number(waiting)) : '');
      later.hidden = waiting === 0;
    },
    destroy: () => root.replaceChildren(),
  };
}

function item(dive: Dive, note: Note, act: Act): HTMLElement {
  const vehicle = note.vehicle === null ? null : (dive.tracks[note.vehicle]?.name ?? null);
  const time = element(
    'button',
    { type: 'button', class: 'plain', 'aria-label': words.notes.go(format.clock(note.elapsed_s)) },
    format.clock(note.elapsed_s),
  );
  time.addEventListener('click', () => act({ do: 'seek', at_s: note.elapsed_s }));
  const by = vehicle === null ? null : element('span', { class: 'by' }, vehicle);
  return element('li', { value: String(note.number) }, element('p', { class: 'when' }, element('span', { class: 'number' }, String(note.number)), time, by), element('p', { class: 'text' }, note.text));
}
