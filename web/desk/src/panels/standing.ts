/** How the ship's side stands, and what was decided by whom and when. */

import { element, mark, say } from '../../../src/dom';
import { fold, Rows, tick } from '../controls';
import { count, rate, size, span } from '../figures';
import { letterOf, PLACES } from '../keys';
import type { Hands, Panel } from '../shown';
import type { Decision, Feed, State } from '../state';
import { words } from '../words';

const S = words.standing;
const HEADS = [S.feed, S.state, S.heard, S.taken, S.refused];

export function feeds(root: HTMLElement): Panel {
  const body = element('tbody', {});
  const table = element('table', {}, element('thead', {}, element('tr', {}, ...HEADS.map((name) => element('th', { scope: 'col' }, name)))), body);
  const [journal, fault, link] = [element('p', {}), element('p', { class: 'fault' }), element('p', {})];
  const part = fold('feeds', S.title, false, element('div', { class: 'wide', tabindex: '0', role: 'region', 'aria-label': S.title }, table), fault, journal, link);
  root.append(part.root);
  const rows = new Rows<Feed>(body, ({ name }) => name, ({ name }) => feedRow(name));
  return {
    draw({ state }) {
      rows.draw(state.feeds);
      const troubled = state.feeds.filter(isTroubled).length + (state.journal.fault === null ? 0 : 1);
      part.tell(troubled === 0 ? S.healthy : S.silent(String(troubled)));
      say(journal, journalWords(state));
      say(fault, state.journal.fault === null ? '' : S.fault(state.journal.fault));
      const { connections, followers, bits_per_s, words: told } = state.link;
      say(link, `${S.link(count(connections), count(followers), rate(bits_per_s))} ${sentence(told)}`);
    },
  };
}

/** From then on a feed counts as silent; an acoustic link brings a report every few tens of seconds (common practice, no source). */
export const SILENT_S = 120;

export const isTroubled = ({ station, heard_ago_s }: Pick<Feed, 'station' | 'heard_ago_s'>): boolean =>
  station !== null ? !station.healthy : heard_ago_s === null || heard_ago_s > SILENT_S;

function journalWords({ journal: { rows, bytes, free_bytes, fills_in_s } }: State): string {
  const free = free_bytes === null ? [] : [S.free(size(free_bytes))];
  const fills = fills_in_s === null ? [] : [S.fills(span(fills_in_s))];
  return [S.journal(count(rows), size(bytes)), ...free, ...fills].join(' ');
}

/** Return words of the ship's as a sentence. */
export const sentence = (told: string): string => (told === '' ? '' : `${told.charAt(0).toUpperCase()}${told.slice(1)}.`);

/** Return a text in parts, every second of them a day, which is never broken at its hyphens. */
export const aroundDays = (text: string): readonly string[] => text.split(/(\b\d{4}-\d{2}-\d{2}\b)/);

const unbroken = (text: string): readonly Node[] =>
  aroundDays(text).map((part, at) => (at % 2 === 0 ? document.createTextNode(part) : element('span', { class: 'day' }, part)));

function feedRow(name: string): { root: HTMLElement; draw: (feed: Feed) => void } {
  const cells = HEADS.slice(1).map(() => element('td', {}));
  const row = element('tr', {}, element('th', { scope: 'row' }, name), ...cells);
  return {
    root: row,
    draw(feed) {
      const refused = Object.entries(feed.rejected).map(([why, times]) => `${count(times)} ${why}`);
      const told = [sayState(feed), feed.heard_ago_s === null ? S.never : S.ago(span(feed.heard_ago_s)), count(feed.accepted), refused.join(', ') || S.none];
      cells.forEach((cell, at) => say(cell, told[at] ?? ''));
      mark(row, 'data-troubled', isTroubled(feed) ? 'true' : null);
    },
  };
}

function sayState({ state, station, of_ship }: Feed): string {
  const of = of_ship ? [S.ship] : [];
  if (!station) return [state, ...of].join(', ');
  const health = station.healthy ? S.healthyWord : S.unhealthy;
  return [state, station.counting ? S.counting(station.role) : S.resting(station.role, health), ...of].join(', ');
}

export function decisions(root: HTMLElement): Panel {
  const list = element('ol', { class: 'cards decided' });
  const part = fold('decisions', words.decisions.title, true, list);
  root.append(part.root);
  const rows = new Rows<Decision>(list, ({ row }) => String(row), (decision) => {
    const by = element('span', { class: 'help' });
    return { root: element('li', {}, element('span', {}, ...unbroken(decision.words)), by), draw: ({ who, ago_s }) => say(by, words.decisions.by(who, span(ago_s))) };
  });
  return {
    draw({ state }) {
      rows.draw(state.decisions);
      part.tell(state.decisions.length === 0 ? words.decisions.none : words.decisions.count(count(state.decisions.length)));
    },
  };
}

/** The keys, and their switch. */
export function keys(root: HTMLElement, _hands: Hands, isOn: boolean, switched: (on: boolean) => void): void {
  const K = words.keys;
  const { root: letters, box } = tick(K.on, isOn);
  box.addEventListener('change', () => switched(box.checked));
  const rows = [[words.stop.key, K.stop], ...Object.values(PLACES).map((place) => [letterOf(place), K.places[place]]), [K.escape, K.leave]];
  const list = element('dl', { class: 'keys' }, ...rows.map(([key = '', text = '']) => element('div', {}, element('dt', {}, element('kbd', {}, key)), element('dd', {}, text))));
  const part = fold('keys', K.title, false, letters, list, element('p', { class: 'help' }, K.note));
  root.append(part.root);
}
