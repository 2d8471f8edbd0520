/** What was looked for, and what each target turned out to be up to the moment shown. */

import { latestTargets } from '../describe';
import { element, say } from '../dom';
import type { State, View } from '../state';
import type { Target } from '../store';
import { words } from '../words';

export function create(root: HTMLElement): View {
  const list = element('dl', { class: 'targets' });
  root.append(element('h2', {}, words.targets.title), list);
  let shown = '';
  return {
    draw({ dive, playhead }: State): void {
      const targets = dive ? latestTargets(dive, playhead.at_s) : [];
      root.hidden = targets.length === 0;
      const key = JSON.stringify(targets);
      if (key === shown) return;
      shown = key;
      list.replaceChildren(...targets.map(row));
    },
    destroy: () => root.replaceChildren(),
  };
}

function row({ name, verdict }: Target): HTMLElement {
  const told = element('dd');
  say(told, verdict === null ? words.targets.unknown : words.targets.verdicts[verdict]);
  return element('div', {}, element('dt', {}, name), told);
}
