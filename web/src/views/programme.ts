/** What is to come: a pinned message, the next dive, a schedule, and where to ask; whether or not a dive is under way. */

import { nextDive } from '../describe';
import { element, mark, say, saySet } from '../dom';
import type { State, View } from '../state';
import { words } from '../words';

export function create(root: HTMLElement): View {
  const pinned = element('p', { class: 'pinned' });
  const next = element('p');
  const list = element('ol');
  const schedule = element('details', {}, element('summary', {}, words.programme.schedule), list);
  const link = element('a', { rel: 'noopener noreferrer' }, words.programme.questions);
  const questions = element('p', {}, link, ' ', words.programme.ashore);
  root.setAttribute('aria-label', words.programme.title);
  root.append(pinned, next, schedule, questions);
  let listed: readonly string[] | null = null;
  let isAlone = false;
  return {
    draw(state: State): void {
      const told = state.programme;
      say(pinned, told?.pinned ?? '');
      saySet(next, nextDive(state) ?? '');
      if (told && told.schedule !== listed) {
        list.replaceChildren(...told.schedule.map((line) => element('li', {}, line)));
        listed = told.schedule;
      }
      // Open where there is nothing else to look at; from then on as the reader leaves it.
      const isBlank = state.listed && state.wanted === null;
      if (isBlank !== isAlone) schedule.open = isAlone = isBlank;
      mark(link, 'href', told?.questions ?? null);
      pinned.hidden = !pinned.textContent;
      next.hidden = !next.textContent;
      schedule.hidden = !listed?.length;
      questions.hidden = !told?.questions;
      root.hidden = pinned.hidden && next.hidden && schedule.hidden && questions.hidden;
    },
    destroy: () => root.replaceChildren(),
  };
}
