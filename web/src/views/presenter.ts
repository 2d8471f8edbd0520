/** For who presents: their own notes, keys as a clicker sends them, and large words for a wall. */

import { noteAt, type Embedded } from '../embedded';
import { element, mark, say } from '../dom';
import type { Act, Action, State, View } from '../state';
import { words } from '../words';

/** Clickers send the keys that turn pages (common practice, no source). */
const TURNS: Readonly<Record<string, Action>> = { PageDown: { do: 'later chapter' }, PageUp: { do: 'earlier chapter' } };

/** `kept` outlives the view: whether notes are shown, and whether words are large. */
export function create(root: HTMLElement, act: Act, embedded: Embedded, kept: { notes: boolean; large: boolean }): View {
  const say_ = words.presenter;
  const large = element('button', { type: 'button', class: 'key' }, say_.large);
  const shown = element('button', { type: 'button', class: 'key', 'aria-controls': 'presenter-note' }, say_.notes);
  const note = element('p', { id: 'presenter-note', class: 'own', role: 'status' });
  root.append(element('div', { class: 'presenter' }, large, shown, element('p', { class: 'foot' }, say_.keys)), note);
  const settle = (): void => {
    document.body.dataset.large = String(kept.large);
    mark(large, 'aria-pressed', String(kept.large));
    mark(shown, 'aria-expanded', String(kept.notes));
    note.hidden = !kept.notes;
    shown.hidden = embedded.notes.length === 0;
  };
  large.addEventListener('click', () => {
    kept.large = !kept.large;
    settle();
  });
  shown.addEventListener('click', () => {
    kept.notes = !kept.notes;
    settle();
  });
  const hear = (event: KeyboardEvent): void => {
    const turn = TURNS[event.key];
    const taken = event.target instanceof Element && event.target.closest('[role="slider"], select, input, textarea') !== null;
    if (turn === undefined || taken || event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    document.querySelectorAll('dialog').forEach((sheet) => sheet.close());
    act(turn);
  };
  document.addEventListener('keydown', hear);
  settle();
  return {
    draw({ playhead }: State): void {
      say(note, noteAt(embedded, playhead.at_s) ?? say_.nothing);
    },
    destroy(): void {
      document.removeEventListener('keydown', hear);
      root.replaceChildren();
    },
  };
}
