/** A still in a sheet of its own above the page: Esc, the button or a press beside it closes it, and who opened it goes on where they were. */

import type { Still } from './decode';
import { element, say } from './dom';
import { words } from './words';

export interface Enlarged {
  show(still: Still, address: string, caption: readonly [when: string, text: string]): void;
  close(): void;
}

/** Tell the style sheet how wide a still is and in what ratio, so that its room is there before the picture is. */
export function proportion(node: HTMLElement, { width, height }: Still): void {
  node.style.setProperty('--wide', `${width}px`);
  node.style.setProperty('--ratio', String(width / height));
}

export function createEnlarged(root: HTMLElement): Enlarged {
  const when = element('span', { class: 'fig' });
  const text = element('span');
  const picture = element('div', { class: 'picture' });
  const close = element('button', { type: 'button', class: 'key' }, words.stills.close);
  const whole = element('figure', {}, picture, element('figcaption', {}, when, text), close);
  const sheet = element('dialog', { class: 'enlarged', 'aria-label': words.stills.title }, whole);
  close.addEventListener('click', () => sheet.close());
  sheet.addEventListener('click', ({ target }) => target === sheet && sheet.close());
  // It is told late: the sheet may show the next still by then.
  sheet.addEventListener('close', () => sheet.open || picture.replaceChildren());
  root.append(sheet);
  return {
    show(still, address, caption): void {
      say(when, caption[0]);
      say(text, caption[1]);
      proportion(picture, still);
      picture.replaceChildren(imageOf(still, address, caption[1]));
      if (!sheet.open) sheet.showModal();
    },
    close: () => sheet.close(),
  };
}

export function imageOf({ width, height }: Still, address: string, text: string): HTMLElement {
  return element('img', { src: address, width: String(width), height: String(height), alt: words.stills.alt(text) });
}
