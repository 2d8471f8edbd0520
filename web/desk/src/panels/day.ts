/** The working day: who is out on their own, what is released early, and the programme. */

import { element, say } from '../../../src/dom';
import { checked } from '../checked';
import { button, choice, decided, fold, form, Rows, textField, told } from '../controls';
import { span } from '../figures';
import { early as makeEarly, expect, type Fields, type Made, LINE_LIMIT, MOST_LINES, programme as makeProgramme, type Decision } from '../forms';
import type { Hands, Panel } from '../shown';
import { leftWords, StandingText } from '../standing_text';
import type { Programme, Vehicle } from '../state';
import { words } from '../words';
import { linesField } from './seabed';

export function out(root: HTMLElement, hands: Hands): Panel {
  const O = words.out;
  const vehicle = choice('vehicle', O.vehicle);
  const fields = [vehicle, textField('return_in_s', O.back, '', O.form), textField('return_grace_s', O.grace, '15 min'), textField('report_every_s', O.report), textField('report_grace_s', O.reportGrace)];
  const press = button(O.go, { class: 'key main' }, () => undefined);
  const made = form(hands, fields, press, expect, () => undefined);
  const [list, answer] = [element('ul', { class: 'cards' }), told()];
  const part = fold('out', O.title, false, list, answer, made.root, element('p', { class: 'help' }, O.private));
  root.append(part.root);
  const rows = new Rows<Vehicle>(list, ({ name }) => name, ({ name }) => {
    const how = element('span', { class: 'help' });
    const back = button(O.backOf(name), { class: 'key small' }, () => void decided(hands, { do: 'back', vehicle: name }, answer));
    return { root: element('li', {}, element('strong', {}, name), how, back), draw: ({ overdue }) => say(how, overdue?.words ?? '') };
  });
  return {
    draw({ state }) {
      vehicle.offer(state.vehicles.map(({ name }) => [name, name]));
      const gone = state.vehicles.filter(({ overdue }) => overdue !== null);
      rows.draw(gone);
      part.tell(gone.length === 0 ? O.none : O.count(String(gone.length)));
    },
  };
}

/** Release early: the ship asks back with a code, and what it asks is answered here. */
export function early(root: HTMLElement, hands: Hands): Panel {
  const E = words.early;
  const audience = choice('audience', E.audience);
  const since = textField('since', E.since, '10 min');
  const press = button(E.ask, {}, () => undefined);
  const question = element('p', { id: 'early-question' });
  const yes = button('', { class: 'key warn' }, () => void confirm());
  const no = button(E.no, { class: 'key' }, () => close());
  const asking = element('div', { class: 'asking', role: 'group', 'aria-labelledby': 'early-question', hidden: '' }, question, element('div', { class: 'pair' }, yes, no));
  let asked: { decision: Decision; code: string } | null = null;
  const taking: Hands = {
    ...hands,
    decide: async (decision) => {
      const answer = await hands.decide(decision);
      if (answer.kind === 'asked') open(decision, answer.code);
      return answer;
    },
  };
  let much = '';
  const make = (fields: Fields): Made => {
    // What is asked back is about what was sent, whatever stands in the field by then.
    much = fields.since ?? '';
    return makeEarly(fields, hands.now_us());
  };
  const made = form(taking, [audience, since], press, make, () => undefined, asking);
  const open = (decision: Decision, code: string): void => {
    asked = { decision, code };
    say(question, E.question(String(decision.audience), much));
    say(yes, E.yes(String(decision.audience)));
    asking.hidden = false;
    no.focus();
  };
  const close = (): void => {
    asked = null;
    asking.hidden = true;
    say(made.answer, '');
    press.focus();
  };
  const confirm = async (): Promise<void> => {
    if (!asked) return;
    const { decision, code } = asked;
    close();
    await decided(hands, { ...decision, code }, made.answer);
  };
  const part = fold('early', E.title, false, made.root);
  root.append(part.root);
  return { draw: ({ state }) => audience.offer([['', E.nobody], ...state.audiences.map(({ name }) => [name, name] as const)]) };
}

export function programme(root: HTMLElement, hands: Hands): Panel {
  const P = words.programme;
  const pinned = textField('pinned', P.pinned);
  const schedule = linesField('schedule', P.schedule, '3', String(MOST_LINES * (LINE_LIMIT + 1)));
  const next = textField('next_dive_in_s', P.next, '', P.nextHelp);
  const press = button(P.go, { class: 'key main' }, () => undefined);
  const fields = [pinned, schedule, next];
  const [one, two] = [checked(hands, pinned, () => [], true), checked(hands, schedule, () => [], true)];
  const [pinnedText, scheduleText, nextText] = fields.map(({ input }) => new StandingText(input)) as [StandingText, StandingText, StandingText];
  const texts = [pinnedText, scheduleText, nextText];
  const made = form(hands, fields, press, makeProgramme, () => texts.forEach((text) => text.sent()), one.root, two.root);
  const clear = button(P.clear, {}, () => {
    for (const text of texts) text.clear();
    made.root.requestSubmit();
  });
  made.root.insertBefore(clear, made.answer);
  const how = element('p', { class: 'help' });
  const part = fold('programme', P.title, false, how, made.root);
  root.append(part.root);
  const fillIn = (now: Programme, now_us: number): void => {
    const shown = [now.pinned ?? '', now.schedule.join('\n'), leftWords(now, now_us)];
    texts.forEach((text, at) => text.show(shown[at] ?? '', fields[at]?.input === document.activeElement));
  };
  return {
    draw({ state }) {
      const now = state.programme;
      const isUp = now !== null && (now.pinned !== null || now.schedule.length > 0 || now.next_dive_in_s !== null);
      part.tell(isUp ? P.is : P.none);
      say(how, isUp && now.told_us !== null ? P.told(span((state.now_us - now.told_us) / 1e6)) : P.none);
      if (now) fillIn(now, hands.now_us());
    },
  };
}
