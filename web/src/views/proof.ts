/** Whether the ship signed what is shown: one quiet line that can be opened, and an alarm where something is wrong. */

import { alarmWords, proofWords } from '../describeProof';
import { element, say } from '../dom';
import type { State, View } from '../state';
import { words } from '../words';

/** `accept` keeps another key of the ship, once somebody has asked. */
export function create(root: HTMLElement, accept: (key: string) => void): View {
  const title = element('strong');
  const told = element('div');
  const button = element('button', { type: 'button', class: 'plain' }, words.proof.alarm.accept);
  const alarm = element('div', { class: 'alarm', role: 'alert' });
  const word = element('strong');
  const more = element('span');
  const behind = element('div');
  const key = element('code', { class: 'hex' });
  const keyLine = element('p', {}, words.proof.key, ' ', key);
  const details = element('details', {}, element('summary', {}, word, ' ', more), behind, keyLine);
  root.append(alarm, details);
  let offered: string | null = null;
  let drawn = '';
  button.addEventListener('click', () => offered !== null && accept(offered));
  return {
    draw(state: State): void {
      const [wrong, right] = [alarmWords(state), proofWords(state)];
      const now = JSON.stringify([wrong, right]);
      if (now === drawn) return;
      drawn = now;
      offered = wrong?.accept ?? null;
      say(title, wrong?.title ?? '');
      told.replaceChildren(...(wrong?.more ?? []).map((line) => element('p', {}, line)));
      alarm.replaceChildren(...(wrong ? [title, told, ...(offered === null ? [] : [button])] : []));
      details.hidden = right === null;
      say(word, right?.word ?? '');
      say(more, right?.more ?? '');
      behind.replaceChildren(...(right?.behind ?? []).map((line) => element('p', {}, line)));
      keyLine.hidden = (right?.key ?? null) === null;
      say(key, grouped(right?.key ?? ''));
    },
    destroy: () => root.replaceChildren(),
  };
}

/** In groups of eight, to be compared by eye. */
const grouped = (hex: string): string => hex.replace(/(.{8})(?=.)/g, '$1 ');
