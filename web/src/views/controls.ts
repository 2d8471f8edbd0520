/** Play, pause, speed, from chapter to chapter, and back to live. */

import { chaptersOf } from '../chapters';
import { element, mark, say } from '../dom';
import * as format from '../format';
import { RATES } from '../playhead';
import type { Act, Action, State, View } from '../state';
import { words } from '../words';

export function create(root: HTMLElement, act: Act): View {
  const say_ = words.controls;
  const button = (text: string, action: () => Action, kind = 'key'): HTMLButtonElement => {
    const made = element('button', { type: 'button', class: kind }, text);
    made.addEventListener('click', () => act(action()));
    return made;
  };
  let playing = false;
  const clock = element('output', { class: 'clock', 'aria-hidden': 'true' });
  const play = button(say_.play, () => ({ do: playing ? 'pause' : 'play' }), 'key first');
  const earlier = button(words.time.chapters.earlier, () => ({ do: 'earlier chapter' }));
  const later = button(words.time.chapters.later, () => ({ do: 'later chapter' }));
  const follow = button(say_.follow, () => ({ do: 'follow' }), 'key live');
  const speed = element('select', { id: 'speed' }, ...RATES.map((rate) => element('option', { value: String(rate) }, say_.times(format.number(rate)))));
  speed.addEventListener('change', () => act({ do: 'rate', rate: Number(speed.value) }));
  const speeds = element('span', { class: 'speed' }, element('label', { for: 'speed' }, say_.speed), speed);
  mark(root, 'role', 'group');
  mark(root, 'aria-label', say_.group);
  root.append(clock, play, speeds, earlier, later, follow);
  return {
    draw(state: State): void {
      const { dive, playhead, live, dives } = state;
      if (!dive) return;
      playing = playhead.mode === 'playing';
      say(clock, format.clock(playhead.at_s));
      say(play, playing ? say_.pause : playhead.at_s >= dive.end_s ? say_.playAgain : say_.play);
      speed.value = String(playhead.rate);
      const chapters = chaptersOf(dive);
      earlier.hidden = later.hidden = chapters.length === 0;
      earlier.disabled = !chapters.some((chapter) => chapter.at_s < playhead.at_s);
      later.disabled = !chapters.some((chapter) => chapter.at_s > playhead.at_s);
      const newest = dives[dives.length - 1];
      const elsewhere = !live && newest !== undefined && !newest.closed;
      follow.hidden = !elsewhere && (!live || dive.over || playhead.mode === 'following');
      say(follow, elsewhere ? say_.goToLive : say_.follow);
    },
    destroy: () => root.replaceChildren(),
  };
}
