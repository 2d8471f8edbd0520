/** Whether the ship signed what is shown: one quiet line that can be opened, and an alarm where something is wrong. */

import { alarmWords, proofWords, type Alarm, type ProofWords } from '../describeProof';
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
  let drawn = ['', ''];
  button.addEventListener('click', () => offered !== null && accept(offered));
  return {
    draw(state: State): void {
      const [wrong, right] = [alarmWords(state), proofWords(state)];
      const before = drawn;
      drawn = [JSON.stringify(wrong), JSON.stringify(right)];
      if (drawn[0] !== before[0]) sound(wrong);
      if (drawn[1] !== before[1]) tell(right);
    },
    destroy: () => root.replaceChildren(),
  };
  /** Only where it has changed: a screen reader says an alarm each time it is put there. */
  function sound(wrong: Alarm | null): void {
    offered = wrong?.accept ?? null;
    say(title, wrong?.title ?? '');
    told.replaceChildren(...(wrong?.more ?? []).map((line) => element('p', {}, line)));
    alarm.replaceChildren(...(wrong ? [title, told, ...(offered === null ? [] : [button])] : []));
  }
  function tell(right: ProofWords | null): void {
    details.hidden = right === null;
    say(word, right?.word ?? '');
    say(more, right?.more ?? '');
    behind.replaceChildren(...(right?.behind ?? []).map((line) => element('p', {}, line)));
    keyLine.hidden = (right?.key ?? null) === null;
    say(key, grouped(right?.key ?? ''));
  }
}

/** In groups of eight, to be compared by eye. */
const grouped = (hex: string): string => hex.replace(/(.{8})(?=.)/g, '$1 ');
