/** The desk's page: put together, and kept up to date. */

import './style.css';
import { element, mark } from '../../src/dom';
import { readAnswer, readFindings, type Answer } from './answers';
import * as browser from './browser';
import type { Decision } from './forms';
import { heading } from './controls';
import { keyed } from './keys';
import { Link, Rest, type Line } from './link';
import { isLook, lookDrawn, type Look } from './look';
import * as day from './panels/day';
import * as door from './panels/door';
import * as finds from './panels/finds';
import * as guests from './panels/guests';
import * as heads from './panels/head';
import * as promises from './panels/promises';
import * as rails from './panels/rail';
import * as says from './panels/say';
import * as seabed from './panels/seabed';
import * as side from './panels/side';
import * as standing from './panels/standing';
import * as uplink from './panels/uplink';
import { Watched } from './resume';
import type { Hands, Panel, Shown } from './shown';
import type { State, Tracks } from './state';
import { ShipClock } from './ship_clock';
import { Stopper } from './stop';
import * as plan from './views/plan';
import * as ribbon from './views/ribbon';
import { words } from './words';

const TICK_S = 0.5;

class Desk {
  private state: State | null = null;
  private tracks: Tracks | null = null;
  private misread: string | null = null;
  private line: Line = { kind: 'asking' };
  private readonly shipClock = new ShipClock();
  private who = browser.kept('who') ?? '';
  private look: Look | null;
  private lettersOn = browser.kept('letters') !== 'off';
  private token = browser.tokenTaken() ?? '';
  private readonly stopper: Stopper;
  private readonly watched = new Watched();
  private link: Link | null = null;
  private readonly hands: Hands;
  private readonly head: heads.Head;
  private readonly panels: readonly Panel[];
  private readonly rail: rails.Rail;
  private readonly drawings: Drawings;
  private zones: seabed.Zones | null = null;
  private readonly door: door.Door;

  constructor() {
    const look = browser.kept('look');
    this.look = isLook(look) ? look : null;
    this.stopper = new Stopper({
      ...browser.clock,
      send: () => browser.postStop(this.token, this.who || words.who.unnamed),
      keep: browser.keepStop,
      changed: () => this.draw(),
    });
    this.hands = {
      decide: (decision) => this.decide(decision),
      check: async (text, audiences, isProgramme) => readFindings(await browser.post(this.token, '/check', { text, audiences, ...(isProgramme ? { programme: true } : {}) })),
      stop: () => this.stopper.press(),
      dismissStop: () => this.stopper.dismiss(),
      now_us: () => Math.max(this.state?.now_us ?? 0, this.shipClock.now_us(browser.clock.now_s()) ?? 0),
      after: browser.clock.after,
      copy: browser.copy,
    };
    this.head = heads.create(at('head'), {
      tryNow: () => this.link?.now(),
      who: () => this.who,
      setWho: (who) => browser.keep('who', (this.who = who)),
      look: () => lookDrawn(this.look, browser.prefersDark()),
      setLook: (chosen) => {
        browser.keep('look', (this.look = chosen));
        this.draw();
      },
    });
    this.door = door.create(at('door'), (token) => this.enter(token));
    this.rail = rails.create(at('rail'), this.hands, () => this.drawings.letGo());
    this.drawings = drawings(this.rail, (latitude_deg, longitude_deg) => this.zones?.fillIn(latitude_deg, longitude_deg));
    this.panels = this.furnish();
  }

  private furnish(): readonly Panel[] {
    const tell = at('tell');
    const { hands } = this;
    const panels: readonly Panel[] = [
      heads.alarms(at('alarms')),
      this.rail,
      this.drawings,
      side.create(at('side')),
      says.create(tell, hands),
      says.waiting(tell, hands),
      seabed.targets(tell, hands),
      finds.create(tell, hands),
      seabed.legs(tell, hands),
      (this.zones = seabed.zones(tell, hands)),
      day.out(tell, hands),
      day.early(tell, hands),
      day.programme(tell, hands),
      promises.create(tell),
      standing.feeds(tell),
      uplink.create(tell),
      guests.create(tell, hands),
      standing.decisions(tell),
    ];
    standing.keys(tell, hands, this.lettersOn, (on) => {
      this.lettersOn = on;
      browser.keep('letters', on ? 'on' : 'off');
    });
    return panels;
  }

  /** Begin: with the key in the address, or kept in the tab, or asked for. */
  start(): void {
    addEventListener('keydown', (event) => this.pressed(event), { capture: true });
    browser.onToken(() => this.enter(browser.tokenTaken() ?? ''));
    browser.onPreference(() => this.draw());
    browser.anewOnReturn();
    const rest = new Rest(browser.clock.after, () => this.link);
    browser.onHidden((isHidden) => rest.hidden(isHidden));
    browser.every(TICK_S, () => this.draw());
    this.enter(this.token);
    const owed_s = browser.stopOwed_s();
    if (owed_s !== null) this.stopper.found(owed_s);
  }

  private enter(token: string): void {
    this.token = token;
    this.link?.close();
    this.link = null;
    if (token === '') return this.door.show(false);
    browser.keepToken(token);
    this.door.hide();
    this.link = new Link(browser.linkPorts(token), {
      line: (line) => this.lineIs(line),
      state: (state) => this.heardState(state),
      tracks: (tracks) => ([this.tracks, this.misread] = [tracks, null]),
      misread: (why) => (this.misread = why),
    });
    this.link.open();
  }

  private lineIs(line: Line): void {
    this.line = line;
    if (line.kind === 'barred') this.door.show(true);
    if (line.kind === 'heard') this.stopper.again();
    else if (line.kind === 'asking') this.shipClock.anew();
    this.draw();
  }

  private heardState(state: State): void {
    this.state = state;
    this.shipClock.hear(state.now_us, browser.clock.now_s());
    this.draw();
  }

  private async decide(decision: Decision): Promise<Answer> {
    if (this.who === '') {
      this.head.askWho();
      return { kind: 'refused', why: words.who.firstWhy };
    }
    const answer = readAnswer(await browser.post(this.token, '/decide', { ...decision, who: this.who }));
    // Who resumes knows of it: only another's resume is worth a word.
    if (decision.do === 'resume' && answer.kind === 'taken') this.stopper.isOver();
    return answer;
  }

  private pressed(event: KeyboardEvent): void {
    const { key, code, ctrlKey: ctrl, shiftKey: shift, altKey, metaKey } = event;
    const asked = keyed({ key, code, ctrl, shift, other: altKey || metaKey }, isTyping(event.target), this.lettersOn);
    if (asked === null) return;
    event.preventDefault();
    if (asked.do === 'stop') {
      if (!event.repeat) this.stopper.press();
    } else if (asked.do === 'leave') (event.target as HTMLElement).blur();
    else goTo(asked.to);
  }

  private draw(): void {
    const now_s = browser.clock.now_s();
    const { state, tracks, line, misread } = this;
    const age_s = state ? this.shipClock.age_s(state.now_us, now_s) : 0;
    const shown: Shown | null = state && { state, tracks, misread, line, age_s, now_s, stop: this.stopper.stop };
    mark(document.documentElement, 'data-look', lookDrawn(this.look, browser.prefersDark()));
    mark(document.body, 'data-line', line.kind);
    mark(document.body, 'data-stop', this.stopper.stop.kind);
    this.head.draw(shown, line, now_s);
    const standing = this.watched.standing(this.stopper.stop, state?.audiences ?? [], now_s - age_s);
    if (standing === 'undone') this.stopper.isUndone();
    this.rail.drawStop(this.stopper.stop, standing);
    if (!shown) return;
    mark(document.body, 'data-known', 'true');
    document.title = words.page.titleOf(titleState(shown), shown.state.expedition);
    for (const panel of this.panels) panel.draw(shown);
  }
}

function titleState({ state, line }: Shown): string {
  if (line.kind === 'resting') return words.line.resting;
  if (line.kind !== 'heard') return words.line.asking;
  if (state.alarms.length > 0) return words.alarms.title;
  return state.audiences.every(({ held }) => held) ? words.hold.allHeld : state.dive.under_way ? words.dive.underWaySince : words.dive.none;
}

interface Drawings extends Panel {
  /** Nothing is chosen on the ribbon any more. */
  letGo(): void;
}

/** The plans and the time ribbon: what is chosen there can be cut from the rail, a place pressed there be hidden. */
function drawings(rail: rails.Rail, onPlace: plan.Options['onPlace']): Drawings {
  const plans = plan.create(at('plan'), { sees: at('sees'), ...(onPlace ? { onPlace } : {}) });
  at('ribbon').append(heading('ribbon', words.drawings.ribbon));
  const time = ribbon.create(at('ribbon'), {
    onSelect: (from_us, to_us) => rail.select(from_us === null || to_us === null ? null : { from_us, to_us }),
    onCut: (from_us, to_us) => rail.cut({ from_us, to_us }),
  });
  return {
    letGo: () => time.select(null),
    draw({ state, tracks }) {
      plans.draw(state, tracks);
      time.draw(state, tracks);
    },
  };
}

function at(id: string): HTMLElement {
  return document.getElementById(id) ?? document.body.appendChild(element('div', { id }));
}

function isTyping(target: EventTarget | null): boolean {
  return target instanceof HTMLElement && target.closest('input:not([type=checkbox]), select, textarea') !== null;
}

/**
 * Lead to a part of the page: unfold it, and focus its field of text where it begins with one, or what is chosen from
 * by arrow keys, or else its heading: never a button or a box, which a space that follows would press.
 */
function goTo(place: string): void {
  const head = document.getElementById(`at-${place}`);
  const part = head?.closest('details, section, figure');
  if (part instanceof HTMLDetailsElement) part.open = true;
  const first = part?.querySelector<HTMLElement>('button, select, input, textarea, [role=slider]');
  const isHarmless = first?.matches('input[type=text], textarea, [role=slider]') ?? false;
  (isHarmless ? first : head)?.focus();
  part?.scrollIntoView({ block: 'nearest' });
}

new Desk().start();
