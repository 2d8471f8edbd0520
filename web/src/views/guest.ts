/** To whom the page was opened by invitation: to what, until when, and whether this device remembers it. */

import { element, say } from '../dom';
import type { State, View } from '../state';
import { words, type Language } from '../words';
import { INVITED } from '../words/invited';

export interface Remembering {
  isKept(): boolean;
  /** Keep the invitation on this device, or for this tab alone. */
  keep(isKept: boolean): void;
  /** Forget the invitation altogether, and show what is open to all. */
  leave(): void;
}

export function create(root: HTMLElement, remembering: Remembering): View {
  const say_ = INVITED[words.language as Language];
  const told = element('span');
  const keep = element('button', { type: 'button', class: 'plain' });
  const open = element('button', { type: 'button', class: 'plain' }, say_.open);
  const line = element('p', {}, told, ' ', keep);
  root.setAttribute('aria-label', say_.heading);
  root.append(line, open);
  const draw = ({ invitation, connection }: State): void => {
    const isOver = connection.is === 'invitation ended';
    open.hidden = !isOver && connection.is !== 'not invited';
    line.hidden = invitation === null || isOver;
    root.hidden = open.hidden && line.hidden;
    if (invitation === null) return;
    const until = invitation.until === null ? '' : ` ${say_.until(invitation.until)}`;
    say(told, say_.here(invitation.audience) + until);
    say(keep, remembering.isKept() ? say_.forget : say_.keep);
  };
  let last: State | null = null;
  keep.addEventListener('click', () => {
    remembering.keep(!remembering.isKept());
    if (last) draw(last);
  });
  open.addEventListener('click', () => remembering.leave());
  return {
    draw(state: State): void {
      last = state;
      draw(state);
    },
    destroy: () => root.replaceChildren(),
  };
}

/** Have the browser save a file that only a guest can fetch. `later` runs something once that is surely begun. */
export function save(bytes: Uint8Array<ArrayBuffer>, path: string, later: (run: () => void) => void): void {
  const href = URL.createObjectURL(new Blob([bytes], { type: 'application/octet-stream' }));
  element('a', { href, download: path.replace(/^.*\//, '') }).click();
  later(() => URL.revokeObjectURL(href));
}
