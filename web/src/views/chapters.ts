/** The chapters of the dive as one list: where legs begin, what was noted, what targets are; each leads to its moment. */

import { chaptersOf, currentChapter, type Chapter } from '../chapters';
import { chapterWords } from '../describe';
import { element, mark, say } from '../dom';
import * as format from '../format';
import type { Act, State, View } from '../state';
import type { Dive } from '../store';
import { words } from '../words';

export function create(root: HTMLElement, act: Act): View {
  const say_ = words.time.chapters;
  const more = element('p', { class: 'foot' }, say_.more);
  const list = element('ol', { class: 'chapters' });
  const none = element('p', { class: 'soft' });
  root.append(element('h2', {}, say_.title), more, list, none);
  let drawn: Dive | null = null;
  let listed: readonly Chapter[] = [];
  const items = new Map<string, HTMLElement>();
  return {
    draw({ dive, playhead }: State): void {
      if (!dive) return;
      if (dive !== drawn) {
        items.clear();
        list.replaceChildren();
        drawn = dive;
      }
      const chapters = chaptersOf(dive);
      if (chapters !== listed) arrange(list, items, chapters, act);
      listed = chapters;
      const current = currentChapter(chapters, playhead.at_s);
      chapters.forEach((chapter, i) => {
        const node = items.get(chapter.key) as HTMLElement;
        mark(node, 'aria-current', i === current ? 'true' : null);
        mark(node, 'data-due', i > current ? 'later' : null);
      });
      list.hidden = more.hidden = chapters.length === 0;
      say(none, dive.header.fields.has('notes') ? words.notes.none : words.notes.withheld);
      none.hidden = dive.notes.length > 0;
    },
    destroy: () => root.replaceChildren(),
  };
}

/** Put the items in order, and touch none that is in its place: whoever is on one stays there. */
function arrange(list: HTMLElement, items: Map<string, HTMLElement>, chapters: readonly Chapter[], act: Act): void {
  chapters.forEach((chapter, i) => {
    const node = items.get(chapter.key) ?? item(chapter, act);
    items.set(chapter.key, node);
    if (list.children[i] !== node) list.insertBefore(node, list.children[i] ?? null);
  });
}

function item(chapter: Chapter, act: Act): HTMLElement {
  const time = format.clock(chapter.at_s);
  const go = element('button', { type: 'button', class: 'plain', 'aria-label': words.time.chapters.go(time) }, time);
  go.addEventListener('click', () => act({ do: 'seek', at_s: chapter.at_s }));
  const number = element('span', { class: 'number' }, chapter.is === 'note' ? String(chapter.number) : '');
  const by = chapter.is === 'leg' || chapter.vehicle === null ? null : element('span', { class: 'by' }, chapter.vehicle);
  const text = element('p', { class: 'text' }, chapterWords(chapter));
  return element('li', { class: chapter.is }, element('p', { class: 'when' }, number, go, by), text);
}
