/** The link to the shore: whether it is up, how far the shore is with each audience, what it carries. */

import { element, mark, say } from '../../../src/dom';
import { fold, Rows } from '../controls';
import { count, rate, size, span } from '../figures';
import type { Panel } from '../shown';
import type { Ashore, Uplink } from '../state';
import { words } from '../words';

const W = words.uplink;
const NAMES = [W.to, W.since, W.outages, W.carried, W.now, W.limit];

/** A shore that lags by more than this is behind; what is under way at any moment isn't (common practice, no source). */
export const BEHIND_S = 30;

export function create(root: HTMLElement): Panel {
  const [state, none] = [element('p', { class: 'link-state' }), element('p', { class: 'help' }, W.noneWhy)];
  const values = NAMES.map(() => element('dd', {}));
  const list = element('dl', { class: 'facts' }, ...NAMES.map((name, at) => element('div', {}, element('dt', {}, name), values[at] ?? null)));
  const audiences = element('ul', { class: 'cards', 'aria-label': W.caption });
  const known = element('div', {}, audiences, list);
  const part = fold('uplink', W.title, false, state, none, known);
  root.append(part.root);
  const rows = new Rows<readonly [string, Ashore]>(audiences, ([name]) => name, ([name]) => row(name));
  return {
    draw({ state: { uplink } }) {
      none.hidden = uplink !== null;
      state.hidden = known.hidden = uplink === null;
      part.tell(uplink === null ? W.none : brief(uplink));
      mark(part.root, 'data-down', uplink?.state === 'down' ? 'true' : null);
      if (uplink === null) return;
      say(state, uplink.words);
      figuresOf(uplink).forEach((text, at) => say(values[at] as HTMLElement, text));
      rows.draw(Object.entries(uplink.audiences));
    },
  };
}

/** Say in a few words how the link stands. */
export function brief({ state, audiences }: Pick<Uplink, 'state' | 'audiences'>): string {
  if (state === 'down') return W.down;
  const behind = Object.entries(audiences).filter(([, one]) => isBehind(one));
  return `${W.up}, ${behind.length === 0 ? W.level : W.behind(behind.map(([name]) => name))}`;
}

/** Say the figures of the link, in the order of `NAMES`. */
export function figuresOf({ to, up_since_s, outages, sent_octets, bits_per_s, limit_bits_per_s }: Omit<Uplink, 'state' | 'words' | 'audiences'>): readonly string[] {
  return [
    to,
    up_since_s === null ? W.notUp : span(up_since_s),
    W.outagesOf(count(outages)),
    W.carriedOf(size(sent_octets)),
    rate(bits_per_s),
    limit_bits_per_s === null ? W.noLimit : rate(limit_bits_per_s),
  ];
}

/** Say how far the shore is with an audience: by how much it is behind; up to where it has all, and who follows there. */
export function ashoreOf({ behind_records, behind_s, held_dive, held_seq, followers }: Ashore): readonly [string, string] {
  const lag = behind_records === null || behind_s === null ? W.unknown : behind_records === 0 ? W.nothing : W.lagOf(W.records(count(behind_records)), span(behind_s));
  const has = held_dive === null ? W.unsaid : held_seq === null || held_seq < 0 ? W.noRecord : W.held(count(held_dive), count(held_seq));
  return [lag, followers === null ? has : W.following(has, count(followers))];
}

const isBehind = ({ behind_s }: Ashore): boolean => behind_s === null || behind_s > BEHIND_S;

function row(name: string): { root: HTMLElement; draw: (item: readonly [string, Ashore]) => void } {
  const [lag, has] = [element('span', {}), element('span', { class: 'help' })];
  return {
    root: element('li', {}, element('strong', {}, name), lag, has),
    draw([, ashore]) {
      const [behind, up] = ashoreOf(ashore);
      say(lag, behind);
      mark(lag, 'class', isBehind(ashore) ? 'stands' : null);
      say(has, up);
    },
  };
}
