/** The keys of the page: a list that unfolds, a switch, and what hears them. */

import { element } from '../dom';
import { keyed, type Focus } from '../keys';
import type { Act, State, View } from '../state';
import { words } from '../words';

/** What has keys of its own. */
const FIELDS = 'input, select, textarea, [contenteditable], [tabindex], [role="slider"], audio, video, iframe';
const BUTTONS = 'button, a[href], summary';

function focusOf(target: EventTarget | null): Focus {
  if (!(target instanceof Element)) return 'page';
  if (target.closest(FIELDS)) return 'field';
  return target.closest(BUTTONS) ? 'button' : 'page';
}

/** `choice` keeps whether keys are on; `copy` copies a link. */
export function create(root: HTMLElement, act: Act, copy: () => void, choice: { isOn(): boolean; keep(isOn: boolean): void }): View {
  const say_ = words.time.keys;
  const box = element('input', { type: 'checkbox', id: 'keys-on' });
  box.checked = choice.isOn();
  box.addEventListener('change', () => choice.keep(box.checked));
  const rows = say_.rows.map(([key, what]) => element('div', {}, element('dt', {}, element('kbd', {}, key)), element('dd', {}, what)));
  const turned = element('p', { class: 'turned' }, box, element('label', { for: 'keys-on' }, say_.on));
  root.append(element('details', {}, element('summary', {}, say_.title), element('dl', {}, ...rows), element('p', { class: 'foot' }, say_.more), turned));
  let hasDive = false;
  const hear = (event: KeyboardEvent): void => {
    if (!hasDive || event.defaultPrevented || event.isComposing || document.querySelector('dialog[open]')) return;
    const press = { key: event.key, shift: event.shiftKey, other: event.ctrlKey || event.altKey || event.metaKey, repeat: event.repeat };
    const asked = keyed(press, focusOf(event.target), box.checked);
    if (asked === null) return;
    event.preventDefault();
    if (asked === 'copy') copy();
    else act(asked);
  };
  document.addEventListener('keydown', hear);
  return {
    draw({ dive }: State): void {
      hasDive = dive !== null;
    },
    destroy(): void {
      document.removeEventListener('keydown', hear);
      root.replaceChildren();
    },
  };
}
