/** Why the moment of a link isn't the one shown, said and spoken. */

import { remarkWords } from '../describe';
import { mark, say } from '../dom';
import type { State, View } from '../state';

export function create(root: HTMLElement): View {
  mark(root, 'role', 'status');
  return { draw: (state: State) => say(root, remarkWords(state)), destroy: () => root.replaceChildren() };
}
