/**
 * The chapters of the dive as one list: where legs begin, what was noted, what targets are; each leads to its moment.
 * A note's still is shown from its own moment on, in room that was kept for it; it opens larger.
 */

import { chaptersOf, currentChapter, type Chapter } from '../chapters';
import { chapterWords } from '../describe';
import { element, mark, say } from '../dom';
import { createEnlarged, imageOf, proportion } from '../enlarged';
import * as format from '../format';
import { Pictures, type Addresses } from '../pictures';
import type { Act, State, View } from '../state';
import type { Dive } from '../store';
import { words } from '../words';

/** An item of the list; `reveal` is for what is shown from its moment on alone. */
interface Item {
  readonly node: HTMLElement;
  reveal(): void;
}

type Open = (chapter: Noted) => void;
type Noted = Extract<Chapter, { is: 'note' }>;

export function create(root: HTMLElement, act: Act, addresses: Addresses): View {
  const say_ = words.time.chapters;
  const more = element('p', { class: 'foot' }, say_.more);
  const list = element('ol', { class: 'chapters' });
  const none = element('p', { class: 'soft' });
  root.append(element('h2', {}, say_.title), more, list, none);
  const pictures = new Pictures(addresses);
  const enlarged = createEnlarged(root);
  const open: Open = ({ still, at_s, text }) => still && enlarged.show(still, pictures.of(still), [format.clock(at_s), text]);
  let drawn: Dive | null = null;
  let listed: readonly Chapter[] = [];
  const items = new Map<string, Item>();
  const clear = (): void => {
    enlarged.close();
    items.clear();
    list.replaceChildren();
    pictures.giveBack();
  };
  return {
    draw({ dive, playhead }: State): void {
      if (dive !== drawn) clear();
      drawn = dive;
      if (!dive) return;
      const chapters = chaptersOf(dive);
      if (chapters !== listed) arrange(list, items, chapters, (chapter) => item(chapter, act, pictures, open));
      listed = chapters;
      const current = currentChapter(chapters, playhead.at_s);
      chapters.forEach((chapter, i) => {
        const { node, reveal } = items.get(chapter.key) as Item;
        mark(node, 'aria-current', i === current ? 'true' : null);
        mark(node, 'data-due', i > current ? 'later' : null);
        if (i <= current) reveal();
      });
      list.hidden = more.hidden = chapters.length === 0;
      say(none, dive.header.fields.has('notes') ? words.notes.none : words.notes.withheld);
      none.hidden = dive.notes.length > 0;
    },
    destroy(): void {
      clear();
      root.replaceChildren();
    },
  };
}

/** Put the items in order, and touch none that is in its place: whoever is on one stays there. */
function arrange(list: HTMLElement, items: Map<string, Item>, chapters: readonly Chapter[], make: (chapter: Chapter) => Item): void {
  chapters.forEach((chapter, i) => {
    const one = items.get(chapter.key) ?? make(chapter);
    items.set(chapter.key, one);
    if (list.children[i] !== one.node) list.insertBefore(one.node, list.children[i] ?? null);
  });
}

function item(chapter: Chapter, act: Act, pictures: Pictures, open: Open): Item {
  const time = format.clock(chapter.at_s);
  const go = element('button', { type: 'button', class: 'plain', 'aria-label': words.time.chapters.go(time) }, time);
  go.addEventListener('click', () => act({ do: 'seek', at_s: chapter.at_s }));
  const number = element('span', { class: 'number' }, chapter.is === 'note' ? String(chapter.number) : '');
  const by = chapter.is === 'leg' || chapter.vehicle === null ? null : element('span', { class: 'by' }, chapter.vehicle);
  const text = element('p', { class: 'text' }, chapterWords(chapter));
  const slip = chapter.is === 'note' ? stillOf(chapter, pictures, open) : null;
  const node = element('li', { class: chapter.is }, element('p', { class: 'when' }, number, go, by), text, slip?.node ?? null);
  return { node, reveal: slip?.reveal ?? (() => {}) };
}

/** Make the small figure of a note's still: its room at once, the picture when it is revealed. */
function stillOf(chapter: Noted, pictures: Pictures, open: Open): Item | null {
  const { still, text } = chapter;
  if (still === null) return null;
  const button = element('button', { type: 'button', 'aria-haspopup': 'dialog', 'aria-label': words.stills.open(text) });
  button.addEventListener('click', () => open(chapter));
  const slip = element('figure', { class: 'still' }, button);
  proportion(slip, still);
  const reveal = (): void => {
    if (button.childElementCount === 0) button.append(imageOf(still, pictures.of(still), text));
  };
  return { node: slip, reveal };
}
