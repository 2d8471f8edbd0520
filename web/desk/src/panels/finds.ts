/** The finds: a record of a new one, as found, or a later one that supersedes it; and what is known of each. */

import { element, mark, say } from '../../../src/dom';
import { button, choice, field, fold, form, Rows, textField, type Field } from '../controls';
import { count, metres, place, span } from '../figures';
import { DESCRIPTION_LIMIT, find } from '../forms';
import type { Hands, Panel } from '../shown';
import type { Find, State, Vehicle } from '../state';
import { words } from '../words';

const W = words.finds;
const DIGITS = 7; // of a degree: about a centimetre

export function create(root: HTMLElement, hands: Hands): Panel {
  const made = recordForm(hands);
  const list = element('ul', { class: 'cards' });
  const part = fold('finds', W.title, false, made.root, element('p', { class: 'help' }, W.private), list);
  root.append(part.root);
  const rows = new Rows<Find>(list, ({ name }) => name, ({ name }) => findRow(name, () => made.anew(name)));
  return {
    draw({ state }) {
      made.draw(state);
      rows.draw(state.finds);
      const [shown, all] = [state.finds.length, state.in_all.finds];
      part.tell(all === 0 ? W.none : shown < all ? W.newest(count(shown), count(all)) : W.count(count(all)));
    },
  };
}

interface RecordForm {
  readonly root: HTMLElement;
  draw(state: State): void;
  /** Begin a later record of a find. */
  anew(name: string): void;
}

function recordForm(hands: Hands): RecordForm {
  const record = choice('supersedes', W.record);
  const [name, what] = [textField('name', W.name), textField('what', W.what)];
  const [target, at, within] = [choice('target', W.target), textField('place', W.place, '', W.placeHelp), textField('radius_95_m', W.within)];
  const [depth, vehicle, description] = [textField('depth_m', W.depth), choice('vehicle', W.vehicle), linesField()];
  const here = hereButtons(at, depth);
  const whole = element('p', { class: 'help' }, W.whole);
  const more = element('details', { class: 'inner' }, element('summary', {}, W.more), vehicle.root, description.root, element('p', { class: 'help' }, W.files));
  const press = button(W.go, { class: 'key main' }, () => undefined);
  let known: readonly Find[] = [];
  const fields = [record, name, what, target, at, within, depth, vehicle, description];
  const empty = (): void => {
    for (const { input } of fields) input.value = '';
    chosen();
  };
  const chosen = (): void => {
    const isLater = record.input.value !== '';
    name.root.hidden = isLater;
    whole.hidden = !isLater;
    say(press, isLater ? W.goLater : W.go);
  };
  record.root.classList.add('row');
  const made = form(hands, fields, press, (written) => find(written, known), empty, here.root, whole, more);
  record.input.addEventListener('change', chosen);
  return {
    root: made.root,
    draw(state) {
      known = state.finds;
      record.offer([['', W.asFound], ...known.map((one) => [String(one.row), W.later(one.name)] as const)]);
      target.offer([['', W.noTarget], ...state.targets.filter(({ latitude_deg }) => latitude_deg !== null).map((one) => [one.name, one.name] as const)]);
      vehicle.offer([['', W.nobody], ...state.vehicles.map((one) => [one.name, one.name] as const)]);
      here.draw(state.vehicles);
      chosen();
    },
    anew(of) {
      empty();
      record.input.value = String(known.find((one) => one.name === of)?.row ?? '');
      chosen();
      what.input.focus();
    },
  };
}

/** Buttons that fill in where a vehicle is now, and how deep. */
function hereButtons(at: Field, depth: Field): { root: HTMLElement; draw: (vehicles: readonly Vehicle[]) => void } {
  const root = element('div', { class: 'pair' });
  let now: readonly Vehicle[] = [];
  const fillIn = (name: string): void => {
    const found = now.find((vehicle) => vehicle.name === name);
    if (!found || found.latitude_deg === null || found.longitude_deg === null) return;
    at.input.value = `${found.latitude_deg.toFixed(DIGITS)}, ${found.longitude_deg.toFixed(DIGITS)}`;
    depth.input.value = found.depth_m === null ? '' : found.depth_m.toFixed(1);
  };
  const rows = new Rows<string>(root, String, (name) => ({ root: button(W.here(name), { class: 'key small' }, () => fillIn(name)), draw: () => undefined }));
  return {
    root,
    draw(vehicles) {
      now = vehicles;
      rows.draw(vehicles.map(({ name }) => name));
    },
  };
}

function linesField(): Field {
  const made = field('description', W.description, element('textarea', { rows: '3' }));
  made.input.setAttribute('maxlength', String(DESCRIPTION_LIMIT));
  return made;
}

function findRow(name: string, anew: () => void): { root: HTMLElement; draw: (item: Find) => void } {
  const [what, stands, where, first] = [element('span', {}), element('span', { class: 'help' }), element('span', { class: 'help' }), element('span', { class: 'help' })];
  const press = button(W.again, { class: 'key small', 'aria-label': W.againOf(name) }, anew);
  return {
    root: element('li', {}, element('strong', {}, name), what, press, stands, where, first),
    draw(item) {
      const isAsFound = item.records === 1;
      const which = isAsFound ? W.now(String(item.row)) : W.superseded(String(item.row), count(item.records - 1));
      say(stands, [which, W.by(item.who, span(item.ago_s)), W.kept(count(item.photographs), count(item.drawings))].filter((part) => part !== '').join(' · '));
      say(what, item.what);
      say(where, placeOf(item));
      say(first, isAsFound ? '' : W.first(String(item.as_found.row), item.as_found.what, placeOf(item.as_found)));
      mark(first, 'hidden', isAsFound ? '' : null);
    },
  };
}

/** Say where a record has its find. */
export function placeOf({ latitude_deg, longitude_deg, radius_95_m, target, depth_m }: Find['as_found']): string {
  const known = latitude_deg === null || longitude_deg === null ? W.nowhere : place(latitude_deg, longitude_deg);
  const of = target === null ? known : `${known} (${W.ofTarget(target)})`;
  return W.at(of, radius_95_m === null ? null : metres(radius_95_m), depth_m === null ? null : metres(depth_m));
}
