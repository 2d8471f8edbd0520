/** Fields, buttons, forms and lists: made once, and changed only where something differs, so that nobody loses a focus. */

import { element, mark, say } from '../../src/dom';
import { sayAnswer, type Answer } from './answers';
import { NOTE_LIMIT, type Decision, type Fields, type Made } from './forms';
import { Once } from './once';
import { letterOf, type PlaceName } from './keys';
import type { Hands } from './shown';
import { words } from './words';

let made_ = 0;
export const fresh = (name: string): string => `${name}-${(made_ += 1)}`;

export function button(text: string, attributes: Readonly<Record<string, string | null>>, press: () => void): HTMLButtonElement {
  const made = element('button', { type: 'button', class: 'key', ...attributes }, text);
  made.addEventListener('click', () => {
    if (made.getAttribute('aria-disabled') !== 'true') press();
  });
  return made;
}

/** Let a button be pressed or not; it keeps the focus either way, so that nobody who works by keyboard loses the place. */
export const enable = (press: HTMLButtonElement, isEnabled: boolean): void => mark(press, 'aria-disabled', isEnabled ? null : 'true');

/** Where a letter leads: a heading that takes the focus, its letter beside it. */
export function heading(place: PlaceName, text: string, level: 'h2' | 'h3' = 'h2'): HTMLElement {
  return element(level, { id: `at-${place}`, tabindex: '-1' }, text, ' ', letter(place));
}

const letter = (place: PlaceName): HTMLElement => element('kbd', { 'aria-hidden': 'true' }, letterOf(place));

/** A part of the page that can be folded away; `told` is what it says while folded. */
export function fold(place: PlaceName, title: string, isOpen: boolean, ...children: readonly Node[]): { root: HTMLDetailsElement; tell: (text: string) => void } {
  const told = element('span', { class: 'told' });
  const head = element('summary', { id: `at-${place}` }, element('h2', {}, title), ' ', letter(place), told);
  const root = element('details', { class: 'fold', ...(isOpen ? { open: '' } : {}) }, head, ...children);
  return { root, tell: (text) => say(told, text) };
}

export interface Field {
  readonly root: HTMLElement;
  readonly input: HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement;
  /** Say what is wrong with it; null: nothing. */
  fault(text: string | null): void;
}

/** A label above a field, and room beneath it for what is wrong. */
export function field(name: string, label: string, input: Field['input'], help = ''): Field {
  const [id, told] = [fresh(name), fresh('fault')];
  for (const [key, value] of Object.entries({ id, name, 'aria-describedby': told, autocomplete: 'off' })) input.setAttribute(key, value);
  if (!(input instanceof HTMLSelectElement)) input.maxLength = NOTE_LIMIT;
  const fault = element('span', { id: told, class: 'help' }, help);
  const root = element('p', { class: 'field' }, element('label', { for: id }, label), input, fault);
  return {
    root,
    input,
    fault(text) {
      say(fault, text ?? help);
      mark(fault, 'class', text === null ? 'help' : 'fault');
      mark(input, 'aria-invalid', text === null ? null : 'true');
    },
  };
}

export const textField = (name: string, label: string, value = '', help = ''): Field => {
  const made = field(name, label, element('input', { type: 'text' }), help);
  made.input.value = value;
  return made;
};

export interface Choice extends Field {
  /** Offer these, the choice staying where it can; pairs of value and words. */
  offer(options: readonly (readonly [string, string])[]): void;
}

export function choice(name: string, label: string, options: readonly (readonly [string, string])[] = []): Choice {
  const made = field(name, label, element('select'));
  const select = made.input as HTMLSelectElement;
  const offer = (offered: readonly (readonly [string, string])[]): void => refill(select, offered);
  offer(options);
  return { ...made, offer };
}

/** Fill a select, only if its options differ. */
export function refill(select: HTMLSelectElement, offered: readonly (readonly [string, string])[]): void {
  const same = select.options.length === offered.length && offered.every(([value, text], at) => select.options[at]?.value === value && select.options[at]?.text === text);
  if (same) return;
  const before = select.value;
  select.replaceChildren(...offered.map(([value, text]) => element('option', { value }, text)));
  if (offered.some(([value]) => value === before)) select.value = before;
}

/**
 * A box to tick. What was ticked before is never brought back by a browser that returns to the page: it counts boxes,
 * and would tick another one.
 */
export function tick(label: string, isTicked: boolean, value = ''): { root: HTMLElement; box: HTMLInputElement } {
  const id = fresh('tick');
  const box = element('input', { type: 'checkbox', id, value, autocomplete: 'off', ...(isTicked ? { checked: '' } : {}) });
  return { root: element('span', { class: 'tick' }, box, element('label', { for: id }, label)), box };
}

/** A line that says what became of something; read aloud. */
export function told(): HTMLOutputElement {
  return element('output', { class: 'answer' });
}

const underWay = new Once();

/**
 * Send a decision, and say in `where` what became of it. The same one isn't sent a second time while an answer to it is
 * awaited, but for a hold: that is never kept waiting.
 */
export async function decided(hands: Hands, decision: Decision, where: HTMLOutputElement): Promise<Answer> {
  const send = (): Promise<Answer> => hands.decide(decision);
  say(where, words.answer.sending);
  const answer = await (decision.do === 'hold' ? send() : underWay.run(JSON.stringify(decision), send));
  say(where, sayAnswer(decision, answer));
  mark(where, 'data-kind', answer.kind);
  return answer;
}

export interface Form {
  readonly root: HTMLFormElement;
  readonly answer: HTMLOutputElement;
}

/**
 * A form: pressed, or Enter in one of its fields, makes a decision and sends it; what was taken is emptied by `after`.
 * Fields that have a place already, as in a part that can be folded away, keep it.
 */
export function form(hands: Hands, fields: readonly Field[], press: HTMLButtonElement, make: (fields: Fields) => Made, after: () => void, ...more: readonly Node[]): Form {
  const answer = told();
  press.type = 'submit';
  const root = element('form', { novalidate: '' }, ...fields.map(({ root: one }) => one).filter((one) => one.parentElement === null), ...more, press, answer);
  root.addEventListener('submit', (event) => {
    event.preventDefault();
    void submit();
  });
  let isAwaited = false;
  const submit = async (): Promise<void> => {
    if (isAwaited) return;
    for (const one of fields) one.fault(null);
    const made = make(Object.fromEntries(fields.map(({ input }) => [input.name, input.value])));
    if ('fault' in made) {
      const wrong = fields.find(({ input }) => input.name === made.field);
      wrong?.fault(words.answer.faults[made.fault]);
      wrong?.input.closest('details:not([open])')?.setAttribute('open', '');
      wrong?.input.focus();
      return;
    }
    isAwaited = true;
    mark(root, 'aria-busy', 'true');
    const taken = await decided(hands, made.decision, answer);
    isAwaited = false;
    mark(root, 'aria-busy', null);
    if (taken.kind === 'taken') after();
  };
  return { root, answer };
}

/** A list whose rows are kept as long as what they show: by key, in order. */
export class Rows<T> {
  private readonly rows = new Map<string, { root: HTMLElement; draw: (item: T) => void }>();

  constructor(private readonly root: HTMLElement, private readonly keyOf: (item: T) => string, private readonly make: (item: T) => { root: HTMLElement; draw: (item: T) => void }) {}

  draw(items: readonly T[]): void {
    const wanted = new Set(items.map(this.keyOf));
    for (const [key, { root }] of this.rows) {
      if (wanted.has(key)) continue;
      root.remove();
      this.rows.delete(key);
    }
    items.forEach((item, at) => {
      const row = this.rowOf(item);
      row.draw(item);
      if (this.root.children[at] !== row.root) this.root.insertBefore(row.root, this.root.children[at] ?? null);
    });
  }

  private rowOf(item: T): { root: HTMLElement; draw: (item: T) => void } {
    const key = this.keyOf(item);
    const found = this.rows.get(key) ?? this.make(item);
    this.rows.set(key, found);
    return found;
  }
}
