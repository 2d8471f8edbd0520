/** The track in three dimensions, fetched and drawn only when asked for. */

import { element, mark, say } from '../dom';
import type { State, View } from '../state';
import { words } from '../words';

interface Space {
  draw(state: State): void;
  destroy(): void;
}

/** The room that draws; it opens nothing (null) where the browser can't draw so. */
export interface SpaceRoom {
  open(root: HTMLElement, turned: () => void, lost: () => void): Space | null;
}

/**
 * `load` fetches the room; null where there is none to fetch, and then nothing is offered. `ask` asks for a frame.
 * `kept` outlives the view: whether the drawing is open.
 */
export function create(root: HTMLElement, load: (() => Promise<SpaceRoom>) | null, ask: () => void, kept: { isOpen: boolean }): View {
  if (load === null) {
    root.hidden = true;
    return { draw(): void {}, destroy(): void {} };
  }
  const say_ = words.space;
  const button = element('button', { type: 'button', class: 'key', 'aria-expanded': 'false', 'aria-controls': 'space-drawing' }, say_.open);
  const told = element('p', { class: 'told', role: 'status' });
  const up = element('strong', { class: 'not-north' }, say_.noNorth);
  const head = element('figcaption', {}, element('h2', {}, say_.title), up);
  const sheet = element('div', {});
  const figure = element('figure', { id: 'space-drawing' }, head, sheet);
  figure.hidden = true;
  root.append(button, told, figure);
  let space: Space | null = null;
  let wanted = false;
  const shut = (why: string): void => {
    space?.destroy();
    space = null;
    wanted = false;
    figure.hidden = true;
    mark(button, 'aria-expanded', 'false');
    say(button, say_.open);
    say(told, why);
  };
  const open = async (): Promise<void> => {
    wanted = true;
    say(told, say_.loading);
    const room = await load().catch(() => null);
    if (!wanted || space !== null) return;
    figure.hidden = false;
    space = room?.open(sheet, ask, () => shut(say_.lost)) ?? null;
    if (space === null) return shut(room === null ? say_.notLoaded : say_.noWebGl);
    say(told, '');
    say(button, say_.close);
    mark(button, 'aria-expanded', 'true');
    ask();
  };
  button.addEventListener('click', () => {
    kept.isOpen = !wanted;
    if (wanted) shut('');
    else void open();
  });
  if (kept.isOpen) void open();
  return {
    draw(state: State): void {
      space?.draw(state);
    },
    destroy(): void {
      shut('');
      root.replaceChildren();
    },
  };
}
