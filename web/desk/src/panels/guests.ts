/** Who is invited to what is shown to nobody else: inviting, whose link is shown once, and taking back. */

import { element, mark, say } from '../../../src/dom';
import { button, choice, decided, fold, form, fresh, Rows, textField, told } from '../controls';
import { count } from '../figures';
import { invite } from '../forms';
import type { Hands, Panel } from '../shown';
import type { Guest } from '../state';
import { words } from '../words';

const W = words.guests;

export function create(root: HTMLElement, hands: Hands): Panel {
  const link = linkPart(hands);
  const name = textField('name', W.name);
  const audience = choice('audience', W.audience);
  const until = textField('until', W.until, '', W.untilHelp);
  const press = button(W.go, { class: 'key main row' }, () => undefined);
  const inviting: Hands = {
    ...hands,
    decide: async (decision) => {
      const answer = await hands.decide(decision);
      if (answer.kind === 'taken' && typeof answer.value.link === 'string') link.show(String(decision.name), answer.value.link);
      return answer;
    },
  };
  const made = form(inviting, [name, audience, until], press, invite, () => [name, until].forEach(({ input }) => (input.value = '')));
  const [nowhere, list, answer] = [element('p', { class: 'help' }, W.nowhere), element('ul', { class: 'cards' }), told()];
  const effect = element('p', { class: 'help' }, W.effect);
  const part = fold('guests', W.title, false, made.root, nowhere, link.root, list, answer, effect);
  root.append(part.root);
  const rows = new Rows<Guest>(list, ({ id }) => id, (guest) => row(guest, hands, answer));
  return {
    draw({ state: { audiences, guests } }) {
      const invited = audiences.filter((one) => one.invited).map((one) => [one.name, one.name] as const);
      audience.offer(invited);
      made.root.hidden = invited.length === 0;
      nowhere.hidden = invited.length > 0;
      rows.draw(guests);
      effect.hidden = guests.length === 0;
      link.keep(guests);
      const counting = guests.filter(counts).length;
      part.tell(counting === 0 ? W.none : W.count(count(counting)));
    },
  };
}

const counts = ({ revoked, over }: Guest): boolean => !revoked && !over;

interface LinkPart {
  readonly root: HTMLElement;
  show(name: string, link: string): void;
  /** Keep what is shown for as long as it opens anything. */
  keep(guests: readonly Guest[]): void;
}

/** The link of who was invited last, until the operator has it: it is nowhere else, and gone with the page. */
function linkPart(hands: Hands): LinkPart {
  const [id, why] = [fresh('link'), element('p', { class: 'help' })];
  const label = element('label', { for: id });
  const input = element('input', { type: 'text', id, readonly: '', autocomplete: 'off', spellcheck: 'false' });
  const answer = told();
  const copy = button(W.copy, { class: 'key main' }, () => void copied());
  const copied = async (): Promise<void> => {
    const isCopied = await hands.copy(input.value);
    if (!isCopied) {
      input.focus();
      input.select();
    }
    say(answer, isCopied ? W.copied : W.marked);
  };
  const hide = (): void => {
    input.value = '';
    root.hidden = true;
  };
  const done = button(W.done, { class: 'key' }, () => {
    hide();
    root.closest('details')?.querySelector('summary')?.focus();
  });
  const root = element('div', { class: 'asking link-once', role: 'group', hidden: '' }, element('p', { class: 'field' }, label, input), why, element('div', { class: 'pair' }, copy, done), answer);
  return {
    root,
    keep(guests) {
      if (isEnded(input.value, guests)) hide();
    },
    show(name, link) {
      say(label, W.link(name));
      mark(root, 'aria-label', W.link(name));
      say(why, W.once(name));
      say(answer, '');
      input.value = link;
      root.hidden = false;
      copy.focus();
    },
  };
}

function row({ id, name, audience }: Guest, hands: Hands, answer: HTMLOutputElement): { root: HTMLElement; draw: (guest: Guest) => void } {
  const [stands, how] = [element('span', { class: 'stands' }), element('span', { class: 'help' })];
  const press = button(W.remove, { class: 'key small', 'aria-label': W.removeOf(name, audience) }, () => void decided(hands, { do: 'uninvite', guest: id }, answer));
  return {
    root: element('li', {}, element('strong', {}, name), stands, press, how),
    draw(guest) {
      say(stands, guest.revoked ? W.revoked : guest.over ? W.over : '');
      say(how, guestOf(guest));
      press.hidden = !counts(guest);
    },
  };
}

/** Whether a link is of somebody who was taken back, or whose last day is over. */
export function isEnded(link: string, guests: readonly Pick<Guest, 'id' | 'revoked' | 'over'>[]): boolean {
  const id = /#guest=([^.]+)\./.exec(link)?.[1];
  return guests.some((guest) => guest.id === id && (guest.revoked || guest.over));
}

/** Say what somebody is invited to, for how long, and whether they came; the id tells two of one name apart. */
export function guestOf({ id, audience, until, opens, last_day }: Pick<Guest, 'id' | 'audience' | 'until' | 'opens' | 'last_day'>): string {
  const came = opens === 0 || last_day === null ? W.unopened : W.opened(count(opens), last_day);
  return W.of(audience, until === null ? W.noEnd : W.to(until), came, id);
}
