/** What was looked for, and what each target turned out to be up to the moment shown. */

import { element, say, saySet } from '../dom';
import * as format from '../format';
import type { State, View } from '../state';
import type { Dive, Target } from '../store';
import { words } from '../words';

export function create(root: HTMLElement): View {
  const count = element('p', { class: 'foot' });
  const list = element('dl', { class: 'targets' });
  root.append(element('h2', {}, words.targets.title), list, count);
  let shown = '';
  return {
    draw({ dive, playhead }: State): void {
      const targets = dive ? latest(dive, playhead.at_s) : [];
      root.hidden = targets.length === 0;
      const key = JSON.stringify(targets);
      if (key === shown) return;
      shown = key;
      list.replaceChildren(...targets.map(row));
      const checked = targets.filter(({ verdict }) => verdict !== 'unchecked');
      saySet(count, words.targets.checked(format.number(checked.length), format.number(targets.length)));
    },
    destroy: () => root.replaceChildren(),
  };
}

/** Each target once, with its last verdict. */
function latest(dive: Dive, at_s: number): Target[] {
  const found = new Map<string, Target>();
  for (const target of dive.targets) if (target.elapsed_s <= at_s) found.set(target.name, target);
  return [...found.values()];
}

function row({ name, verdict }: Target): HTMLElement {
  const told = element('dd');
  say(told, verdict === null ? words.targets.unknown : words.targets.verdicts[verdict]);
  return element('div', {}, element('dt', {}, name), told);
}
