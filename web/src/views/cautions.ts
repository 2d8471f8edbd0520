/** What this page is not, in a few lines at its foot. */

import { element } from '../dom';
import type { View } from '../state';
import { words } from '../words';

export function create(root: HTMLElement): View {
  root.append(element('h2', {}, words.cautions.title), ...words.cautions.lines.map((text) => element('p', {}, text)));
  return { draw: () => {}, destroy: () => root.replaceChildren() };
}
