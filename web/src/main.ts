/** Put the page together: the browser's ports, the sources, the views, one frame. */

import { browserDigest, browserEngine, browserPorts, copy, dataIn, isSeen, keep, kept, languagesWished, now_ms, pictureAddresses, tab } from './browser';
import { embeddedPorts, readEmbedded } from './embedded';
import { watchFollowers } from './followers';
import { Frame, type Drawn } from './frame';
import { tokenOf } from './invitation';
import { audienceOf, hashOf, linkedKey, momentOf, type Moment } from './moment';
import { Page } from './page';
import { keyOf } from './seal';
import { remeasure } from './sheet';
import { isAudience, liveSource, recordingSource } from './source';
import { ALL, DATA, LINK, PLAYHEAD, SIZE, TICK, TURN, type Act, type View } from './state';
import { brieflyTrusting, type Trust } from './trust';
import { isSystem, measureIn } from './units';
import * as cautions from './views/cautions';
import * as chapters from './views/chapters';
import * as choices from './views/choices';
import * as column from './views/column';
import * as controls from './views/controls';
import * as depth from './views/depth';
import * as figures from './views/figures';
import type { Remembering } from './views/guest';
import * as honest from './views/honest';
import * as keys from './views/keys';
import * as link from './views/link';
import * as masthead from './views/masthead';
import * as now from './views/now';
import * as plan from './views/plan';
import * as presenter from './views/presenter';
import * as proof from './views/proof';
import * as remark from './views/remark';
import * as ribbon from './views/ribbon';
import * as space from './views/space';
import * as spoken from './views/spoken';
import * as targets from './views/targets';
import { languageFor, speak, words } from './words';

const embedded = readEmbedded(dataIn('recording'), dataIn('briefing'));

/** What this browser keeps of this site, beside others of the same host. */
const site = new URL('.', document.baseURI).pathname;
const KEY = `offing key ${site}`;
const GUEST = `offing guest ${site}`;
const linked = linkedKey(location.hash);
const brief = brieflyTrusting(linked);
const trust: Trust = embedded === null ? { linked, kept: () => keyOf(kept(KEY)) ?? brief.kept(), keep: (key) => (brief.keep(key), keep(KEY, key)) } : brief;

/** The token of a guest's link: of this one, or of the one that this tab or this device holds. */
const arrived = tokenOf(location.hash);
if (arrived !== null) tab.write(GUEST, arrived);
const token = embedded !== null ? null : (arrived ?? tab.read(GUEST) ?? kept(GUEST));
const outside = browserPorts(document.baseURI, token);
const ports = embedded === null ? outside : embeddedPorts(embedded, outside);
/** Few are guests: what only they need is fetched for them alone. */
let guest: typeof import('./views/guest') | null = null;
/** What is to come isn't among the first words, and not in a briefing: it is fetched after them. */
let coming: typeof import('./coming') | null = null;
const means = { digest: browserDigest, proving: { engine: browserEngine, trust }, isGuest: token !== null };
const calm = matchMedia('(prefers-reduced-motion: reduce)');

function place(id: string): HTMLElement {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no place for ${id}`);
  return found;
}

const address = (): string => location.pathname + location.search;
if (arrived !== null) history.replaceState(null, '', address() + hashOf(momentOf(location.hash), linked));

/** Write the address once the reader rests: browsers refuse to have it changed many times a second. */
const REST_S = 0.4;
let cancelWriting = (): void => {};
const write = (moment: Moment | null, isNew: boolean): void => {
  cancelWriting();
  const hash = hashOf(moment, linked);
  if (hash !== location.hash) history[isNew ? 'pushState' : 'replaceState'](null, '', address() + hash);
};
const remember = (moment: Moment | null, isNew: boolean): void => {
  cancelWriting();
  if (isNew) write(moment, momentOf(location.hash)?.dive !== moment?.dive);
  else cancelWriting = ports.after(REST_S, () => write(moment, false));
};

const raise = (flags: number): void => frame.raise(flags);
const page = new Page(
  {
    live: (listener) => liveSource(ports, means, listener, audienceOf(location.search)),
    recording: (entry, audience, listener) => recordingSource(ports, entry, audience, means, listener),
    raise: (flags) => queueMicrotask(() => raise(flags)),
    remember,
    // Paper needs no film: a few steps a second spare a phone's battery, and one a second whoever asked for calm.
    leastStep_s: () => (calm.matches ? 1 : 0.08),
    invited: ({ audience }) => programmeOf(audience),
  },
  momentOf(location.hash),
);
const act: Act = (action) => page.act(action);
/** Whoever follows asked whether another key is the ship's, and it is. */
const accept = (key: string): void => {
  trust.keep(key);
  location.reload();
};
const remembering: Remembering = {
  isKept: () => token !== null && kept(GUEST) === token,
  keep: (isKept) => keep(GUEST, isKept ? token : null),
  leave() {
    tab.write(GUEST, null);
    keep(GUEST, null);
    location.reload();
  },
};

const shell: View = {
  draw(state): void {
    // The first words, which came with the page, stay until there is something to draw, or to say of the connection.
    if (state.dive || (state.listed && state.wanted === null) || state.connection.is !== 'connecting') document.getElementById('first')?.remove();
    if (!document.getElementById('first')?.hasChildNodes()) document.body.dataset.first = 'gone';
    document.body.dataset.briefing = String(embedded !== null);
    document.body.dataset.scene = state.dive ? 'dive' : state.listed && state.wanted === null ? 'blank' : 'empty';
    document.body.dataset.replay = String(state.dive !== null && (state.playhead.mode !== 'following' || state.dive.over));
  },
  destroy(): void {},
};

const KEYS = 'offing keys';
const choice = { isOn: () => kept(KEYS) !== 'off', keep: (isOn: boolean) => keep(KEYS, isOn ? 'on' : 'off') };

const UNITS = 'offing units';
const LANGUAGE = 'offing language';

/** What the reader chose here before; else metres, and the browser's language. */
function choiceKept(): choices.Choice {
  const [system, language] = [kept(UNITS), kept(LANGUAGE)];
  return { system: isSystem(system) ? system : 'metre', language: languageFor([language ?? '', ...languagesWished()]) };
}

let chosen = choiceKept();
const inSpace = { isOpen: false };
const presenting = { notes: true, large: false };
/** A briefing is one file: what is fetched only when asked for isn't in it. */
const loadSpace = embedded === null ? () => import('./space/scene') : null;

/** Make every view, in the words and units chosen. */
function made(): Drawn[] {
  remeasure();
  measureIn(chosen.system);
  speak(chosen.language);
  document.documentElement.lang = words.language;
  place('skip').textContent = words.page.skip;
  const linking = link.create(place('link'), () => location.origin + address(), linked, copy);
  return [
    { view: shell, upon: DATA | LINK | TICK },
    { view: keys.create(place('keys'), act, () => linking.copy(), choice), upon: DATA },
    { view: masthead.create(place('masthead'), act, embedded === null), upon: DATA | LINK | TICK },
    ...(embedded === null ? [] : [{ view: presenter.create(place('presenter'), act, embedded, presenting), upon: DATA | TICK | PLAYHEAD }]),
    { view: honest.create(place('honest')), upon: DATA | TICK | PLAYHEAD | LINK },
    { view: remark.create(place('remark')), upon: DATA | LINK },
    { view: proof.create(place('proof'), accept), upon: DATA | LINK },
    ...(guest === null ? [] : [{ view: guest.create(place('guest'), remembering), upon: LINK }]),
    ...(coming === null ? [] : [{ view: coming.create(place('programme')), upon: DATA | LINK }]),
    { view: now.create(place('now')), upon: DATA | TICK | LINK },
    { view: plan.create(place('plan')), upon: DATA | TICK | SIZE },
    { view: space.create(place('space'), loadSpace, () => raise(TURN), inSpace), upon: DATA | TICK | SIZE | TURN },
    { view: column.create(place('column')), upon: DATA | TICK | SIZE },
    { view: depth.create(place('depth'), act), upon: DATA | PLAYHEAD | SIZE, prompt: true },
    { view: ribbon.create(place('ribbon'), act), upon: DATA | PLAYHEAD | SIZE, prompt: true },
    { view: controls.create(place('controls'), act), upon: DATA | PLAYHEAD | LINK },
    { view: linking, upon: DATA | PLAYHEAD },
    { view: chapters.create(place('chapters'), act, pictureAddresses), upon: DATA | PLAYHEAD },
    { view: targets.create(place('targets')), upon: DATA | TICK },
    { view: figures.create(place('figures'), guest === null ? null : (path) => void ports.read(path).then(({ status, bytes }) => status === 200 && guest?.save(bytes, path, (run) => ports.after(60, run)))), upon: DATA | TICK },
    { view: choices.create(place('choices'), chosen, choose), upon: 0 },
    { view: cautions.create(place('cautions')), upon: 0 },
    { view: spoken.create(place('spoken'), ports), upon: DATA | TICK | LINK },
  ];
}

const views: Drawn[] = made();

/** Say everything anew, at the moment shown; what was open stays open, and whoever chose stays where they are. */
function choose(next: choices.Choice): void {
  if (next.system !== chosen.system) keep(UNITS, next.system);
  if (next.language !== chosen.language) keep(LANGUAGE, next.language);
  chosen = next;
  const focused = document.activeElement?.id;
  const top = scrollY;
  const open = [...document.querySelectorAll('details')].map((details) => details.open);
  for (const { view } of views) view.destroy();
  views.splice(0, views.length, ...made());
  document.querySelectorAll('details').forEach((details, i) => (details.open = open[i] ?? false));
  for (const { view } of views) view.draw(page.state);
  scrollTo(0, top);
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
}

let last_ms = 0;
let rolls = false;
const frame = new Frame(
  (run) => requestAnimationFrame(run),
  (at_ms) => {
    // Nothing rolls between the frames of a page at rest: the first frame of a replay begins where it was asked to.
    const passed_s = rolls ? Math.min(0.5, Math.max(0, (at_ms - last_ms) / 1000)) : 0;
    last_ms = at_ms;
    const stepped = page.step(passed_s);
    rolls = stepped.more;
    return stepped;
  },
  () => page.state,
  views,
  now_ms,
);

/** Draw again on sheets of another size, or in other inks. */
function anew(flags: number): void {
  remeasure();
  frame.raise(flags);
}

if (token !== null) {
  void import('./views/guest').then((room) => {
    guest = room;
    choose(chosen);
  });
}

const sizes = new ResizeObserver(() => anew(SIZE));
for (const id of ['plan', 'space', 'column', 'depth', 'ribbon']) sizes.observe(place(id));
for (const query of ['(forced-colors: active)', '(prefers-contrast: more)', 'print']) matchMedia(query).addEventListener('change', () => anew(ALL));
addEventListener('popstate', () => {
  cancelWriting();
  // Another key, or another guest, makes another page of it.
  if (tokenOf(location.hash) !== null || (linkedKey(location.hash) ?? linked) !== linked) location.reload();
  page.open(momentOf(location.hash));
});
const isDue = (): boolean => isSeen() && ['connected', 'delayed'].includes(page.state.connection.is);
watchFollowers(ports, isDue, (count) => page.following(count));
const asked = audienceOf(location.search);
function programmeOf(audience: string | null): void {
  void import('./coming').then((room) => {
    if (coming === null) views.push({ view: room.create(place('programme')), upon: DATA | LINK });
    coming = room;
    const check = room.programmeCheck(means.proving, () => audience ?? page.audience);
    room.watchProgramme(ports, room.programmePath(audience), isDue, (told) => page.told(told), check);
    frame.raise(DATA);
  });
}
if (embedded === null && token === null && (asked === null || isAudience(asked))) programmeOf(asked);
addEventListener('online', () => act({ do: 'retry' }));
frame.raise(ALL);
