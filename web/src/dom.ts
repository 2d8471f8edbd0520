/** Making and changing elements, with as few touches of the document as can be. */

import { figures } from './format';

type Child = Node | string | null;

/** Make an element; attributes that are null are left out. Text is always text, never markup. */
export function element<K extends keyof HTMLElementTagNameMap>(
  tag: K,
  attributes: Readonly<Record<string, string | null>> = {},
  ...children: readonly Child[]
): HTMLElementTagNameMap[K] {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) if (value !== null) made.setAttribute(name, value);
  made.append(...children.filter((child) => child !== null));
  return made;
}

/** Set the text of a node, only if it differs: an untouched live region stays silent. */
export function say(node: HTMLElement, text: string): void {
  if (node.textContent !== text) node.textContent = text;
}

/** Set an attribute, only if it differs; null removes it. */
export function mark(node: HTMLElement, name: string, value: string | null): void {
  if (value === null) node.removeAttribute(name);
  else if (node.getAttribute(name) !== value) node.setAttribute(name, value);
}

/** Set a sentence with its figures in the face of figures. */
export function saySet(node: HTMLElement, text: string): void {
  if (node.textContent === text) return;
  node.replaceChildren(...figures(text).map((part) => (part.figure ? element('span', { class: 'fig' }, part.text) : part.text)));
}
