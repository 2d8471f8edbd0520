/** What is said to followers, what waits for approval, and what was kept back. */

import { element, say as tell } from '../../../src/dom';
import { checked } from '../checked';
import { button, choice, decided, field, fold, form, Rows, tick, told } from '../controls';
import { span } from '../figures';
import { say as makeSay } from '../forms';
import type { Hands, Panel } from '../shown';
import type { KeptBack, State, Waiting } from '../state';
import { words } from '../words';

export function create(root: HTMLElement, hands: Hands): Panel {
  const text = field('text', words.say.text, element('textarea', { rows: '2' }));
  const vehicle = choice('vehicle', words.say.vehicle);
  const to = audiencePart();
  const check = checked(hands, text, () => to.chosen() ?? []);
  to.root.addEventListener('change', check.again);
  const { root: holdRoot, box: hold } = tick(words.say.hold, false);
  const press = button(words.say.go, { class: 'key main' }, () => undefined);
  hold.addEventListener('change', () => tell(press, hold.checked ? words.say.goHeld : words.say.go));
  const made = form(hands, [text, vehicle], press, (fields) => makeSay(fields, to.chosen(), hold.checked), () => {
    text.input.value = '';
    check.again();
  }, check.root, to.root, holdRoot);
  text.input.addEventListener('keydown', (event) => {
    const { key, ctrlKey } = event as KeyboardEvent;
    if (key === 'Enter' && ctrlKey) made.root.requestSubmit();
  });
  const part = fold('say', words.say.title, true, made.root, element('p', { class: 'help' }, words.say.later));
  root.append(part.root);
  return {
    draw({ state }) {
      vehicle.offer([['', words.say.noVehicle], ...state.vehicles.map(({ name }) => [name, name] as const)]);
      to.draw(state);
    },
  };
}

function audiencePart(): { root: HTMLElement; chosen: () => readonly string[] | null; draw: (state: State) => void } {
  const boxes = element('div', { class: 'boxes' });
  const root = element('fieldset', {}, element('legend', {}, words.say.audiences), boxes);
  const rows = new Rows<string>(boxes, String, (name) => ({ root: tick(name, true, name).root, draw: () => undefined }));
  const all = (): HTMLInputElement[] => [...boxes.querySelectorAll('input')];
  return {
    root,
    /** Null stands for all of them, so that an audience that is added later isn't left out. */
    chosen: () => {
      const ticked = all().filter(({ checked: isTicked }) => isTicked);
      return ticked.length > 0 && ticked.length === all().length ? null : ticked.map(({ value }) => value);
    },
    draw: ({ audiences }) => rows.draw(audiences.map(({ name }) => name)),
  };
}

/** What waits to be approved, and what was kept back because a place was found in it. */
export function waiting(root: HTMLElement, hands: Hands): Panel {
  const [list, keptList, answer] = [element('ul', { class: 'cards' }), element('ul', { class: 'cards' }), told()];
  const none = element('p', { class: 'help' }, words.waiting.none);
  const keptTitle = element('h3', {}, words.kept.title);
  const part = fold('waiting', words.waiting.title, true, none, list, answer, keptTitle, keptList);
  root.append(part.root);
  const rows = new Rows<Waiting>(list, ({ say }) => String(say), (item) => waitingRow(item, hands, answer));
  const kept = new Rows<KeptBack>(keptList, ({ at_us, text }) => `${at_us} ${text}`, (item) => ({
    root: element('li', {}, element('q', {}, item.text), element('span', { class: 'help' }, words.kept.of(item.from.join(', '), item.why.join(' ')))),
    draw: () => undefined,
  }));
  return {
    draw({ state }) {
      rows.draw(state.waiting);
      none.hidden = state.waiting.length > 0;
      part.tell(state.waiting.length > 0 ? words.waiting.count(String(state.waiting.length)) : words.waiting.none);
      kept.draw(state.kept_back);
      keptTitle.hidden = state.kept_back.length === 0;
    },
  };
}

function waitingRow({ say, text }: Waiting, hands: Hands, answer: HTMLOutputElement): { root: HTMLElement; draw: (item: Waiting) => void } {
  const by = element('span', { class: 'help' });
  const act = (verb: 'approve' | 'dismiss'): HTMLButtonElement => {
    const label = verb === 'approve' ? words.waiting.approveOf(text) : words.waiting.dismissOf(text);
    return button(words.waiting[verb], { class: 'key small', 'aria-label': label }, () => void decided(hands, { do: verb, say }, answer));
  };
  const root = element('li', {}, element('q', {}, text), by, element('div', { class: 'pair' }, act('approve'), act('dismiss')));
  return { root, draw: ({ who, ago_s, audiences }) => tell(by, words.waiting.by(who, span(ago_s), audiences.join(', ') || words.say.all)) };
}
