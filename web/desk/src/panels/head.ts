/** The head of the sheet: which expedition, whether the ship is heard, who decides, which look; then alarms and notices. */

import { element, mark, say } from '../../../src/dom';
import { button, Rows, textField } from '../controls';
import { span } from '../figures';
import type { Line } from '../link';
import type { Look } from '../look';
import { BEHIND_S } from '../ship_clock';
import type { Panel, Shown } from '../shown';
import { words } from '../words';

export interface HeadPorts {
  tryNow(): void;
  who(): string;
  setWho(who: string): void;
  /** The look that is drawn now. */
  look(): Look;
  setLook(look: Look): void;
}

export interface Head {
  draw(shown: Shown | null, line: Line, now_s: number): void;
  askWho(): void;
}

export function create(root: HTMLElement, ports: HeadPorts): Head {
  const title = element('h1', {}, words.page.title);
  const clock = element('span', { class: 'fig ship-clock' });
  const line = element('p', { class: 'line', role: 'status' });
  const now = button(words.line.tryNow, { class: 'key small', hidden: '' }, ports.tryNow);
  const count = element('span', { class: 'fig line-count' });
  const who = whoPart(ports);
  const look = lookPart(ports);
  root.append(
    element('div', { class: 'head-title' }, title, clock),
    element('div', { class: 'line-part' }, line, count, now),
    element('div', { class: 'head-end' }, who.root, look.root),
  );
  return {
    askWho: who.ask,
    draw(shown, now_line, now_s) {
      if (shown) {
        say(title, `${shown.state.expedition} · ${shown.state.ship}`);
        say(clock, words.page.shipClock(wallTime(shown.state.clock.wall)));
      }
      look.draw();
      say(line, sayLine(now_line));
      say(count, sayCount(now_line, shown, now_s));
      mark(line, 'data-kind', now_line.kind);
      mark(count, 'data-behind', now_line.kind === 'heard' ? 'true' : null);
      now.hidden = now_line.kind !== 'lost';
    },
  };
}

/** "2026-01-02T03:04:05.6+01:00" as "03:04:05". */
const wallTime = (iso: string): string => /T(\d\d:\d\d:\d\d)/.exec(iso)?.[1] ?? iso;

/** What is said aloud, once: without what counts down. */
function sayLine(line: Line): string {
  if (line.kind === 'lost') {
    const why = words.line.why[line.why];
    return words.line.trying(line.detail === '' ? why : `${why} ${words.line.misread(line.detail)}`);
  }
  return line.kind === 'barred' ? words.door.wrong : words.line[line.kind];
}

function sayCount(line: Line, shown: Shown | null, now_s: number): string {
  const old = shown ? words.line.old(span(shown.age_s)) : '';
  if (line.kind === 'lost') return `${words.line.again(String(Math.max(0, Math.ceil(line.again_at_s - now_s))))} ${old}`;
  if (line.kind === 'heard') return shown && shown.age_s > BEHIND_S ? words.line.behind(span(shown.age_s)) : '';
  return old;
}

function whoPart(ports: HeadPorts): { root: HTMLElement; ask: () => void } {
  const name = textField('who', words.who.label, ports.who());
  name.input.setAttribute('maxlength', '80');
  const keep = button(words.who.keep, { class: 'key small' }, () => undefined);
  keep.type = 'submit';
  const asking = element('form', { class: 'who-form' }, name.root, keep, element('span', { class: 'unseen' }, words.who.why));
  const you = element('span', { class: 'you' });
  const change = button(words.who.change, { class: 'plain' }, () => show(true));
  const root = element('div', { class: 'who' }, you, change, asking);
  const show = (isAsking: boolean): void => {
    asking.hidden = !isAsking;
    you.hidden = change.hidden = isAsking;
    say(you, words.who.you(ports.who()));
    if (isAsking) name.input.focus();
  };
  asking.addEventListener('submit', (event) => {
    event.preventDefault();
    const given = name.input.value.trim();
    if (given === '') return name.input.focus();
    ports.setWho(given);
    show(false);
  });
  show(ports.who() === '');
  return {
    root,
    ask: () => {
      show(true);
      name.fault(words.who.first);
    },
  };
}

/** The other look is one press away; until one was chosen, the computer's own holds. */
function lookPart(ports: HeadPorts): { root: HTMLElement; draw: () => void } {
  const other = (): Look => (ports.look() === 'day' ? 'night' : 'day');
  const press = button('', { class: 'key small' }, () => ports.setLook(other()));
  return { root: press, draw: () => say(press, words.look[other()]) };
}

/** Alarms, read aloud at once; notices, in a list that can be folded away. */
export function alarms(root: HTMLElement): Panel {
  const list = element('ul', {});
  const notices = element('ul', { class: 'notices' });
  const count = element('span', { class: 'told' });
  const fold = element('details', { class: 'notices-fold' }, element('summary', {}, words.notices.title, ' ', count), notices);
  const none = element('p', { class: 'no-alarm' }, words.alarms.none);
  root.append(none, element('div', { class: 'alarms', role: 'alert' }, list), fold);
  const alarmRows = new Rows<string>(list, (text) => text, (text) => ({ root: element('li', {}, text), draw: () => undefined }));
  const noticeRows = new Rows<{ key: string; text: string }>(notices, ({ key }) => key, () => {
    const row = element('li', {});
    return { root: row, draw: ({ text }) => say(row, text) };
  });
  return {
    draw({ state, misread }) {
      const stopped = state.stopped === null ? [] : [words.alarms.stopped(state.stopped)];
      const told = [...stopped, ...state.alarms.map(words.alarms.one), ...(misread === null ? [] : [words.alarms.misread(misread)])];
      alarmRows.draw([...new Set(told)]);
      mark(root, 'data-alarm', told.length > 0 ? 'true' : null);
      none.hidden = told.length > 0;
      noticeRows.draw(state.notices);
      fold.hidden = state.notices.length === 0;
      say(count, words.notices.count(String(state.notices.length)));
    },
  };
}
