/** What is said aloud to those who listen to the page, now and then. */

import { Announcer } from '../announce';
import { announcement } from '../describe';
import { say } from '../dom';
import type { State, View } from '../state';

export function create(root: HTMLElement, now_s: () => number): View {
  const announcer = new Announcer();
  return {
    draw(state: State): void {
      const words = announcer.offer(announcement(state), now_s());
      if (words !== null) say(root, words);
    },
    destroy: () => root.replaceChildren(),
  };
}
