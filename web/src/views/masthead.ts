/** The head of the sheet: the expedition, the choice of a dive, the state of the connection in words. */

import { connectionWords, pageTitle } from '../describe';
import { element, mark, say, saySet } from '../dom';
import * as format from '../format';
import type { DiveEntry } from '../decode';
import type { Act, State, View } from '../state';
import { words } from '../words';

/** `isSite`: there is more than this page. */
export function create(root: HTMLElement, act: Act, isSite: boolean): View {
  const title = element('h1');
  const select = element('select', { id: 'dive' });
  const picker = element('p', { class: 'picker' }, element('label', { for: 'dive' }, words.picker.label), select);
  const word = element('strong');
  const more = element('span');
  const retry = element('button', { type: 'button', class: 'plain' }, words.connection.retry);
  const link = element('p', { class: 'link', 'aria-label': words.connection.heading }, word, more, retry);
  const count = element('span', { class: 'count' });
  const all = element('a', { href: 'expedition.html', class: 'all' }, words.time.allDives);
  link.append(count);
  root.append(title, element('div', { class: 'masthead-end' }, picker, all, link));
  select.addEventListener('change', () => act({ do: 'show', dive: Number(select.value) }));
  retry.addEventListener('click', () => act({ do: 'retry' }));
  let listed = '';
  return {
    draw(state: State): void {
      document.title = pageTitle(state);
      say(title, state.expedition ?? words.page.untitled);
      const key = JSON.stringify(state.dives.map(({ dive, closed }) => [dive, closed]));
      if (key !== listed) fill(select, state.dives);
      listed = key;
      picker.hidden = state.dives.length === 0 || !isSite;
      all.hidden = picker.hidden || state.invitation !== null; // made for those to whom all is open
      if (state.wanted !== null) select.value = String(state.wanted);
      const connection = connectionWords(state);
      say(word, connection.word);
      say(more, connection.more === '' ? '' : `: ${connection.more}`);
      mark(link, 'data-mark', connection.mark);
      saySet(count, state.followers ? words.time.followers(format.number(state.followers)) : '');
      count.hidden = !state.followers;
      retry.hidden = !connection.retry;
    },
    destroy: () => root.replaceChildren(),
  };
}

function fill(select: HTMLSelectElement, dives: readonly DiveEntry[]): void {
  const options = [...dives].reverse().map(({ dive, closed }) => {
    const name = closed ? words.picker.over(String(dive)) : words.picker.goingOn(String(dive));
    return element('option', { value: String(dive) }, name);
  });
  select.replaceChildren(...options);
}
