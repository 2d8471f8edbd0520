/** The line that is always there: how late this is, and that it is coarse on purpose. */

import { honestLine } from '../describe';
import { element, say } from '../dom';
import type { State, View } from '../state';

export function create(root: HTMLElement): View {
  const late = element('strong');
  const place = element('span');
  root.append(late, ' ', place);
  return {
    draw(state: State): void {
      const line = honestLine(state);
      say(late, line.late);
      say(place, line.place);
    },
    destroy: () => root.replaceChildren(),
  };
}
