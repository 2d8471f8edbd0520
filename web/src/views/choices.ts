/** In which units and which language the page speaks. */

import { element, mark } from '../dom';
import type { View } from '../state';
import { SYSTEMS, isSystem, type System } from '../units';
import { LANGUAGES, languageFor, words, type Language } from '../words';

export interface Choice {
  readonly system: System;
  readonly language: Language;
}

/** `choose` is told what was chosen; the page is then made anew, this part of it too. */
export function create(root: HTMLElement, { system, language }: Choice, choose: (choice: Choice) => void): View {
  const say_ = words.choices;
  const systems = (Object.keys(SYSTEMS) as System[]).map((value) => element('option', { value }, say_.systems[value]));
  const languages = Object.entries(LANGUAGES).map(([value, { name }]) => element('option', { value, lang: value }, name));
  const units = element('select', { id: 'units' }, ...systems);
  const tongue = element('select', { id: 'language' }, ...languages);
  units.value = system;
  tongue.value = language;
  const tell = (): void => choose({ system: isSystem(units.value) ? units.value : system, language: languageFor([tongue.value]) });
  units.addEventListener('change', tell);
  tongue.addEventListener('change', tell);
  mark(root, 'role', 'group');
  mark(root, 'aria-label', say_.heading);
  root.append(element('p', {}, element('label', { for: 'units' }, say_.units), units), element('p', {}, element('label', { for: 'language' }, say_.language), tongue));
  return { draw: () => {}, destroy: () => root.replaceChildren() };
}
