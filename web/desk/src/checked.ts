/**
 * A text that is looked through for places while it is typed.
 *
 * Rules: what is shown is what was found in the text that stands there now; an answer to an older text is thrown away.
 */

import { element, mark, say } from '../../src/dom';
import { marked, type Finding } from './answers';
import type { Field } from './controls';
import type { Hands } from './shown';
import { words } from './words';

const PAUSE_S = 0.25;

export interface Checked {
  readonly root: HTMLElement;
  /** Look again, as other audiences were chosen. */
  again(): void;
}

/** Look through `field` while it is typed in; `audiences` are those it is meant for; a programme tells no time of day either. */
export function checked(hands: Hands, { input }: Field, audiences: () => readonly string[], isProgramme = false): Checked {
  const told = element('p', { class: 'check', role: 'status' });
  const list = element('ul', { class: 'findings' });
  const shown = element('p', { class: 'marked', 'aria-hidden': 'true' });
  let wait: () => void = () => undefined;
  const draw = (text: string, findings: readonly Finding[] | null): void => {
    const found = findings ?? [];
    const none = findings === null ? words.say.unread : words.say.clear;
    say(told, text === '' ? '' : found.length > 0 ? words.say.found(String(found.length)) : none);
    mark(told, 'data-found', found.length > 0 ? 'true' : null);
    list.replaceChildren(...found.map(({ why }) => element('li', {}, why)));
    shown.replaceChildren(...(found.length > 0 ? marked(text, found) : []).map((part) => (part.found ? element('mark', {}, part.text) : part.text)));
  };
  const look = async (): Promise<void> => {
    const text = input.value;
    if (text.trim() === '') return draw('', []);
    const findings = await hands.check(text, audiences(), isProgramme);
    if (input.value === text) draw(text, findings);
  };
  const again = (): void => {
    wait();
    wait = hands.after(PAUSE_S, () => void look());
  };
  input.addEventListener('input', again);
  return { root: element('div', { class: 'checked' }, told, shown, list), again };
}
