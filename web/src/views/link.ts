/** A link to the moment shown: copied where the browser lets a page do so, else shown to be copied by hand. */

import { element, say } from '../dom';
import * as format from '../format';
import { hashOf } from '../moment';
import type { State, View } from '../state';
import { words } from '../words';

export interface Linking extends View {
  /** Copy the link; the same as pressing the button. */
  copy(): void;
}

/** `address` is that of the page, without a moment; `key` came with the link that was opened; `put` copies a text, and tells whether it could. */
export function create(root: HTMLElement, address: () => string, key: string | null, put: (text: string) => Promise<boolean>): Linking {
  const say_ = words.time.link;
  const button = element('button', { type: 'button', class: 'plain' }, say_.copy);
  const told = element('span', { class: 'told', role: 'status' });
  const field = element('input', { type: 'text', readonly: '', 'aria-label': say_.field, class: 'by-hand' });
  field.hidden = true;
  root.append(button, told, field);
  let last: State | null = null;
  const copy = async (): Promise<void> => {
    if (!last?.dive) return;
    const { dive, playhead } = last;
    const link = address() + hashOf({ dive: dive.dive, at_s: playhead.at_s }, key);
    const isCopied = await put(link);
    say(told, '');
    say(told, isCopied ? say_.copied(format.clock(playhead.at_s)) : say_.byHand);
    field.hidden = isCopied;
    field.value = link;
    if (isCopied) return;
    field.focus();
    field.select();
  };
  button.addEventListener('click', () => void copy());
  return {
    draw(state: State): void {
      const moved = last !== null && (last.dive !== state.dive || last.playhead.at_s !== state.playhead.at_s);
      last = state;
      if (!moved || document.activeElement === field) return;
      say(told, '');
      field.hidden = true;
    },
    copy: () => void copy(),
    destroy: () => root.replaceChildren(),
  };
}
