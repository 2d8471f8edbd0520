/**
 * Always in sight: stop, hold, cut, and the dive.
 *
 * Rules: a button never changes what it does, nor comes to stand where another was: whoever presses twice, or at the
 * same moment as somebody else, has pressed the same button twice. Hold can always be pressed, and only holds. What is
 * said of a press stands below the buttons, and all that holds stands in one column, all that resumes in another.
 */

import { element, mark, say } from '../../../src/dom';
import { button, decided, enable, form, heading, Rows, textField, told } from '../controls';
import { span } from '../figures';
import { cutLast } from '../forms';
import { resume, staysStopped, type Standing } from '../resume';
import type { Hands, Panel, Shown } from '../shown';
import type { Audience } from '../state';
import type { Stop } from '../stop';
import { words } from '../words';

const CUT_MINUTES = '5';

/** What is chosen on the time ribbon; null: nothing. */
export interface Selection {
  readonly from_us: number;
  readonly to_us: number;
}

export interface Rail extends Panel {
  select(selection: Selection | null): void;
  /** Cut an interval, and say here what became of it. */
  cut(selection: Selection): void;
  /** Say how the stop stands; also before anything was heard of the ship, so that it is never silent. */
  drawStop(stop: Stop, standing: Standing): void;
}

/** `letGo`: what was chosen on the ribbon has been cut. */
export function create(root: HTMLElement, hands: Hands, letGo: () => void): Rail {
  const answer = told();
  const cut = cutPart(hands, answer, letGo);
  const drawStop = stopPart(root, hands);
  const parts: Panel[] = [holdPart(root, hands, answer), cut, divePart(hands, answer, root, cut.root)];
  // Below all that can be pressed, so that what is said moves nothing under a hand.
  root.append(answer);
  return { draw: (shown) => parts.forEach((part) => part.draw(shown)), select: cut.select, cut: (selection) => void decided(hands, { do: 'cut', ...selection }, answer), drawStop };
}

function stopPart(root: HTMLElement, hands: Hands): Rail['drawStop'] {
  const press = element(
    'button',
    { type: 'button', class: 'stop', 'aria-keyshortcuts': 'F8 Control+Shift+Space', 'aria-describedby': 'stop-effect' },
    element('span', { class: 'stop-words' }, words.stop.button),
    element('span', { class: 'stop-key' }, element('kbd', {}, words.stop.key), ' ', words.stop.other),
  );
  press.addEventListener('click', () => hands.stop());
  const effect = element('p', { id: 'stop-effect', class: 'help' }, words.stop.effect);
  const how = element('p', { class: 'stop-told', role: 'status' });
  const forget = button(words.stop.forget, { class: 'key small', hidden: '' }, () => hands.dismissStop());
  root.append(element('section', { class: 'part stop-part' }, press, element('div', { class: 'stop-told-place' }, effect, how, forget)));
  return (stop, standing) => {
    mark(press, 'data-stop', stop.kind);
    effect.hidden = stop.kind !== 'none';
    say(how, sayStop(stop, standing));
    mark(how, 'data-kind', stop.kind === 'taken' && standing === 'undone' ? 'undone' : stop.kind);
    forget.hidden = stop.kind !== 'offered';
  };
}

function sayStop(stop: Stop, standing: Standing): string {
  switch (stop.kind) {
    case 'none':
      return '';
    case 'sending':
      return words.stop.sending;
    case 'kept':
      return stop.why === null ? words.stop.kept : `${words.stop.kept} ${words.stop.keptWhy(stop.why)}`;
    case 'refused':
      return words.stop.refused;
    case 'taken':
      if (standing === 'undone') return words.stop.undone;
      return stop.onDisk ? words.stop.taken : words.stop.notOnDisk;
    case 'offered':
      return words.stop.offered(span(stop.age_s));
  }
}

function holdPart(root: HTMLElement, hands: Hands, answer: HTMLOutputElement): Panel {
  let now: readonly Audience[] = [];
  const decide = (verb: 'hold' | 'resume', audience: string | null): void =>
    void decided(hands, verb === 'hold' ? { do: verb, audience } : resume(audience, now), answer);
  const all = button(words.hold.all, { class: 'key hold' }, () => decide('hold', null));
  const resumeAll = button(words.hold.resumeAll, {}, () => decide('resume', null));
  const list = element('ul', { class: 'holds' });
  const held = element('p', { class: 'held-told' });
  const effect = element('p', { class: 'help' }, words.hold.effect);
  const outside = element('p', { class: 'help' });
  const rows = new Rows<Audience>(list, ({ name }) => name, (audience) => holdRow(audience.name, decide));
  root.append(
    element('section', { class: 'part hold-part', 'aria-labelledby': 'at-hold' }, heading('hold', words.hold.title), element('div', { class: 'pair' }, all, resumeAll), list, held, effect, outside),
  );
  return {
    draw({ state: { audiences } }) {
      now = audiences;
      const names = audiences.filter((one) => one.held).map(({ name }) => name);
      const isAll = names.length === audiences.length && names.length > 0;
      say(held, isAll ? words.hold.allHeld : names.length > 0 ? words.hold.someHeld(names) : '');
      say(outside, staysStopped(audiences).map((one) => words.hold.outside(one.name, one.outside ?? '')).join(' '));
      mark(held, 'data-held', names.length > 0 ? 'true' : null);
      enable(resumeAll, names.length > 0);
      rows.draw(audiences);
    },
  };
}

function holdRow(name: string, decide: (verb: 'hold' | 'resume', audience: string) => void): { root: HTMLElement; draw: (audience: Audience) => void } {
  const hold = button(words.hold.short, { class: 'key small', 'aria-label': words.hold.one(name) }, () => decide('hold', name));
  const resume = button(words.hold.shortResume, { class: 'key small', 'aria-label': words.hold.resume(name) }, () => decide('resume', name));
  const state = element('span', { class: 'state' });
  const root = element('li', {}, element('span', {}, element('strong', {}, name), ' ', state), element('div', { class: 'pair' }, hold, resume));
  return {
    root,
    draw({ held, outside, state: word }) {
      enable(resume, held || outside !== null);
      say(state, words.side.state[word]);
      mark(root, 'data-state', word);
    },
  };
}

function cutPart(hands: Hands, answer: HTMLOutputElement, letGo: () => void): Panel & { root: HTMLElement; select: (selection: Selection | null) => void } {
  let selected: Selection | null = null;
  const last = textField('last', words.cut.lastField, CUT_MINUTES);
  last.input.setAttribute('inputmode', 'decimal');
  const press = button('', { class: 'key cut' }, () => undefined);
  const relabel = (): void => say(press, words.cut.button(`${last.input.value.trim()}${/\d$/.test(last.input.value.trim()) ? ` ${words.cut.minutes}` : ''}`));
  last.input.addEventListener('input', relabel);
  relabel();
  const made = form(hands, [last], press, (fields) => cutLast(fields, hands.now_us()), () => undefined);
  const chosen = button(words.cut.nothing, { class: 'key cut', disabled: '' }, () => {
    if (selected) void cutSelected(selected);
  });
  const cutSelected = async (selection: Selection): Promise<void> => {
    const taken = await decided(hands, { do: 'cut', ...selection }, answer);
    if (taken.kind === 'taken' && selected === selection) letGo();
  };
  const root = element(
    'section',
    { class: 'part cut-part', 'aria-labelledby': 'at-cut' },
    heading('cut', words.cut.title),
    made.root,
    chosen,
    element('p', { class: 'help' }, `${words.cut.onRibbon} ${words.cut.effect}`),
  );
  const tell = (): void => {
    const ago = (at_us: number): string => span((hands.now_us() - at_us) / 1e6);
    chosen.disabled = selected === null;
    say(chosen, selected === null ? words.cut.nothing : words.cut.selected(ago(selected.from_us), ago(selected.to_us)));
  };
  return {
    root,
    select: (selection) => {
      selected = selection;
      tell(); // at once, not with the next state: what was chosen is to be cut now
    },
    draw: tell,
  };
}

function divePart(hands: Hands, answer: HTMLOutputElement, root: HTMLElement, before: HTMLElement): Panel {
  const how = element('p', { class: 'dive-told' });
  const begin = button(words.dive.begin, {}, () => void decided(hands, { do: 'begin' }, answer));
  const end = button(words.dive.end, {}, () => void decided(hands, { do: 'end' }, answer));
  root.append(before, element('section', { class: 'part dive-part', 'aria-labelledby': 'at-dive' }, heading('dive', words.dive.title), how, element('div', { class: 'pair' }, begin, end)));
  return {
    draw({ state: { dive, now_us } }: Shown) {
      const since = dive.begun_us === null ? words.dive.underWaySince : words.dive.underWay(span((now_us - dive.begun_us) / 1e6));
      say(how, dive.under_way ? since : words.dive.none);
      enable(begin, !dive.under_way);
      enable(end, dive.under_way);
    },
  };
}
