/** What is left to search: for each audience that was promised an area, how much is left, and how much is about to be. */

import { element, mark, say } from '../../../src/dom';
import { fold, Rows } from '../controls';
import type { Panel } from '../shown';
import type { Promised } from '../state';
import { words } from '../words';
import { sentence } from './standing';

const W = words.promises;

export function create(root: HTMLElement): Panel {
  const list = element('ul', { class: 'cards', 'aria-label': W.title });
  const help = element('p', { class: 'help' });
  const part = fold('promises', W.title, true, help, list);
  root.append(part.root);
  const rows = new Rows<Promised>(list, ({ audience }) => audience, () => {
    const [head, told] = [element('strong', {}), element('p', {})];
    const card = element('li', {}, head, told);
    return {
      root: card,
      draw(promised) {
        say(head, headOf(promised));
        say(told, sentence(promised.words));
        mark(card, 'data-sounds', isFine(promised) ? null : 'true');
      },
    };
  });
  return {
    draw({ state: { promises } }) {
      say(help, promises.length === 0 ? W.none : W.help);
      list.hidden = promises.length === 0;
      part.tell(brief(promises));
      rows.draw(promises);
    },
  };
}

/** Say of one audience how its promise stands: the state in words, never by colour alone. */
export const headOf = ({ audience, state }: Promised): string => `${audience}: ${W.state[state]}`;

/** Whether nobody needs to look: it is kept, or there is nothing to be known yet. */
const isFine = ({ state }: Promised): boolean => state === 'kept' || state === 'waiting';

/** Say in a few words how all promises stand. */
export function brief(promises: readonly Promised[]): string {
  if (promises.length === 0) return W.nothing;
  const troubled = promises.filter((promised) => !isFine(promised)).map(({ audience }) => audience);
  if (troubled.length > 0) return W.look(troubled);
  return promises.some(({ state }) => state === 'waiting') ? W.waiting : W.kept;
}
