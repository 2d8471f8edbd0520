/** What is marked and hidden on the seabed: targets, legs, zones. */

import { element, say } from '../../../src/dom';
import { checked } from '../checked';
import { button, choice, decided, field, fold, form, refill, Rows, textField, told, type Field } from '../controls';
import { metres, place } from '../figures';
import { leg, target, zone } from '../forms';
import type { Hands, Panel } from '../shown';
import type { State, Target, Vehicle, Zone } from '../state';
import { words } from '../words';

const W = words.targets;
const pairs = (names: readonly string[]): readonly (readonly [string, string])[] => names.map((name) => [name, name]);

export function targets(root: HTMLElement, hands: Hands): Panel {
  const name = textField('name', W.name);
  const verdict = choice('verdict', W.verdict);
  const vehicle = choice('vehicle', W.vehicle);
  const sighting = sightingFields();
  const press = button(W.go, { class: 'key main' }, () => undefined);
  const check = checked(hands, name, () => []);
  const folded = element('details', { class: 'inner' }, element('summary', {}, W.sighting), element('div', { class: 'grid' }, ...sighting.map(({ root: one }) => one)));
  const made = form(hands, [name, verdict, vehicle, ...sighting], press, target, () => clear([name, ...sighting.slice(0, 2)]), check.root, folded);
  const [list, answer] = [element('ul', { class: 'cards' }), told()];
  const part = fold('targets', W.title, false, made.root, list, answer);
  root.append(part.root);
  const rows = new Rows<Target & { verdicts: readonly string[] }>(list, (item) => item.name, (item) => targetRow(item.name, hands, answer));
  return {
    draw({ state }) {
      verdict.offer(pairs(state.verdicts));
      vehicle.offer([['', W.nobody], ...pairs(namesOf(state))]);
      rows.draw(state.targets.map((item) => ({ ...item, verdicts: state.verdicts })));
      part.tell(state.targets.length === 0 ? W.none : W.count(String(state.targets.length)));
    },
  };
}

const namesOf = (state: State): readonly string[] => state.vehicles.map(({ name }) => name);

function clear(fields: readonly Field[]): void {
  for (const { input } of fields) if (input instanceof HTMLInputElement) input.value = '';
}

/** What goes with a bearing and a range; how well they are known is filled in as is common practice, no source. */
function sightingFields(): readonly Field[] {
  return [
    textField('bearing_deg', W.bearing),
    textField('range_m', W.range),
    choice('range_is', W.rangeIs, [['horizontal', W.horizontal], ['slant', W.slant]]),
    textField('depression_deg', W.depression, '', W.depressionHelp),
    textField('bearing_sigma_deg', W.bearingSigma, '2'),
    textField('range_sigma_m', W.rangeSigma, '1'),
    textField('heading_sigma_deg', W.headingSigma, '2'),
    textField('place_sigma_m', W.placeSigma, '5'),
    textField('depression_sigma_deg', W.depressionSigma, '2'),
  ];
}

function targetRow(name: string, hands: Hands, answer: HTMLOutputElement): { root: HTMLElement; draw: (item: Target & { verdicts: readonly string[] }) => void } {
  const verdict = element('select', { 'aria-label': W.verdictOf(name), autocomplete: 'off' });
  const where = element('span', { class: 'help' });
  let [had, vehicle]: [string, string | null] = ['', null];
  const press = button(W.change, { class: 'key small', 'aria-label': W.changeOf(name) }, () => void decided(hands, { do: 'target', name, verdict: verdict.value, vehicle }, answer));
  const root = element('li', {}, element('strong', {}, name), element('div', { class: 'pair' }, verdict, press), where);
  return {
    root,
    draw(item) {
      refill(verdict, pairs(item.verdicts));
      vehicle = item.vehicle;
      if (item.verdict !== had) verdict.value = had = item.verdict;
      const { latitude_deg, longitude_deg, radius_95_m } = item;
      say(where, latitude_deg === null || longitude_deg === null ? W.nowhere : W.at(place(latitude_deg, longitude_deg), radius_95_m === null ? '–' : metres(radius_95_m)));
    },
  };
}

export function legs(root: HTMLElement, hands: Hands): Panel {
  const [list, answer] = [element('ul', { class: 'cards' }), told()];
  const part = fold('legs', words.legs.title, false, list, answer);
  root.append(part.root);
  const rows = new Rows<Vehicle & { legs: readonly string[] }>(list, ({ name }) => name, ({ name }) => {
    const select = element('select', { 'aria-label': words.legs.of(name), autocomplete: 'off' });
    const now = element('span', { class: 'help' });
    const set = (): void => {
      const made = leg(name, select.value);
      if ('decision' in made) void decided(hands, made.decision, answer);
    };
    const press = button(words.legs.set, { class: 'key small', 'aria-label': words.legs.setOf(name) }, set);
    return {
      root: element('li', {}, element('strong', {}, name), ' ', now, element('div', { class: 'pair' }, select, press)),
      draw: (vehicle) => {
        refill(select, [['', words.legs.auto], ...pairs(vehicle.legs)]);
        say(now, words.legs.now(vehicle.leg ?? words.legs.unknown));
      },
    };
  });
  return {
    draw({ state }) {
      rows.draw(state.vehicles.map((vehicle) => ({ ...vehicle, legs: state.legs })));
      part.tell(state.vehicles.map(({ name, leg: now }) => `${name}: ${now ?? words.legs.unknown}`).join(', '));
    },
  };
}

export interface Zones extends Panel {
  /** Take a place as the centre of a zone, and show the form it stands in. */
  fillIn(latitude_deg: number, longitude_deg: number): void;
}

export function zones(root: HTMLElement, hands: Hands): Zones {
  const Z = words.zones;
  const centre = textField('centre', Z.centre, '', Z.centreHelp);
  const fields = [
    textField('name', Z.name),
    centre,
    textField('radius_m', Z.radius, '100'),
    textField('margin_m', Z.margin, '50'),
    choice('action', Z.action, [['withhold', Z.actions.withhold], ['freeze', Z.actions.freeze]]),
  ];
  const here = element('div', { class: 'pair' });
  const press = button(Z.go, { class: 'key main' }, () => undefined);
  const made = form(hands, fields, press, zone, () => clear(fields.slice(0, 2)), here);
  const [list, answer] = [element('ul', { class: 'cards' }), told()];
  const part = fold('zones', Z.title, false, made.root, element('p', { class: 'help' }, Z.effect), list, answer);
  root.append(part.root);
  let at: readonly Vehicle[] = [];
  const fillIn = (latitude_deg: number, longitude_deg: number): void => {
    centre.input.value = `${latitude_deg.toFixed(6)}, ${longitude_deg.toFixed(6)}`;
  };
  const fillInOf = (name: string): void => {
    const found = at.find((vehicle) => vehicle.name === name);
    if (found && found.latitude_deg !== null && found.longitude_deg !== null) fillIn(found.latitude_deg, found.longitude_deg);
  };
  const hereRows = new Rows<string>(here, String, (name) => ({ root: button(Z.here(name), { class: 'key small' }, () => fillInOf(name)), draw: () => undefined }));
  const rows = new Rows<Zone>(list, ({ of, name }) => `${of} ${name}`, (item) => zoneRow(item, hands, answer));
  return {
    fillIn(latitude_deg, longitude_deg) {
      fillIn(latitude_deg, longitude_deg);
      part.root.open = true;
      part.root.scrollIntoView({ block: 'nearest' });
    },
    draw({ state }) {
      at = state.vehicles;
      hereRows.draw(namesOf(state));
      rows.draw(state.zones);
      part.tell(state.zones.length === 0 ? Z.none : Z.count(String(state.zones.length)));
    },
  };
}

function zoneRow({ name, of }: Zone, hands: Hands, answer: HTMLOutputElement): { root: HTMLElement; draw: (item: Zone) => void } {
  const what = element('span', { class: 'help' });
  const remove = button(words.zones.remove, { class: 'key small', 'aria-label': words.zones.removeOf(name) }, () => void decided(hands, { do: 'unzone', name }, answer));
  const root = element('li', {}, element('strong', {}, name), what, of === 'desk' ? remove : element('span', { class: 'help' }, words.zones.fromFile));
  return {
    root,
    draw({ radius_m, margin_m, action }) {
      const spoken = action === 'freeze' || action === 'withhold' ? words.zones.actions[action] : action;
      say(what, words.zones.of(metres(radius_m), metres(margin_m), spoken));
    },
  };
}

/** A field of several lines. */
export function linesField(name: string, label: string, rows: string, limit: string): Field {
  const made = field(name, label, element('textarea', { rows }));
  made.input.setAttribute('maxlength', limit);
  return made;
}
