/** What is said aloud to those who listen to the page: now and then, and never too late. */

import { Announcer } from '../announce';
import { announcement } from '../describe';
import { say } from '../dom';
import type { State, View } from '../state';

export interface Time {
  now_s(): number;
  after(delay_s: number, run: () => void): () => void;
}

export function create(root: HTMLElement, time: Time): View {
  const announcer = new Announcer();
  let newest = '';
  let cancel: (() => void) | null = null;
  const speak = (): void => {
    cancel = null;
    const words = announcer.offer(newest, time.now_s());
    if (words !== null) say(root, words);
  };
  return {
    draw(state: State): void {
      newest = announcement(state);
      const owed_s = announcer.owed_s(newest, time.now_s());
      if (owed_s === 0) speak();
      else if (owed_s !== null) cancel ??= time.after(owed_s, speak);
    },
    destroy(): void {
      cancel?.();
      root.replaceChildren();
    },
  };
}
