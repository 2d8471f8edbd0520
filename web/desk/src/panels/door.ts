/** The door: asks for the key where the address held none, or a wrong one. */

import { element, say } from '../../../src/dom';
import { button, textField } from '../controls';
import { words } from '../words';

export interface Door {
  show(isWrong: boolean): void;
  hide(): void;
}

export function create(root: HTMLElement, enter: (token: string) => void): Door {
  const key = textField('key', words.door.label);
  key.input.setAttribute('spellcheck', 'false');
  const press = button(words.door.open, { class: 'key main' }, () => undefined);
  press.type = 'submit';
  const wrong = element('p', { class: 'fault', role: 'alert' });
  const form = element('form', {}, element('h2', {}, words.door.title), element('p', {}, words.door.why), key.root, wrong, press);
  root.append(form);
  root.hidden = true;
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    const given = key.input.value.trim();
    key.input.value = '';
    if (given !== '') enter(given.slice(given.lastIndexOf('#') + 1));
  });
  return {
    show(isWrong) {
      say(wrong, isWrong ? words.door.wrong : '');
      root.hidden = false;
      key.input.focus();
    },
    hide: () => {
      root.hidden = true;
    },
  };
}
