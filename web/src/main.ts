/** Put the page together: the browser's ports, the sources, the views, one frame. */

import './style.css';
import { browserDigest, browserPorts } from './browser';
import { Frame, type Drawn } from './frame';
import { Page } from './page';
import { liveSource, recordingSource } from './source';
import { ALL, DATA, LINK, PLAYHEAD, SIZE, TICK, type Act, type View } from './state';
import * as cautions from './views/cautions';
import * as column from './views/column';
import * as controls from './views/controls';
import * as depth from './views/depth';
import * as figures from './views/figures';
import * as honest from './views/honest';
import * as masthead from './views/masthead';
import * as notes from './views/notes';
import * as now from './views/now';
import * as plan from './views/plan';
import * as ribbon from './views/ribbon';
import * as spoken from './views/spoken';
import * as targets from './views/targets';

document.getElementById('first')?.remove();
const ports = browserPorts(document.baseURI);
const calm = matchMedia('(prefers-reduced-motion: reduce)');

function place(id: string): HTMLElement {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no place for ${id}`);
  return found;
}

const chosenDive = (): number | null => {
  const found = /^#dive=(\d{1,9})$/.exec(location.hash);
  return found ? Number(found[1]) : null;
};

const raise = (flags: number): void => frame.raise(flags);
const page = new Page(
  {
    live: (listener) => liveSource(ports, browserDigest, listener),
    recording: (entry, listener) => recordingSource(ports, entry, browserDigest, listener),
    raise: (flags) => queueMicrotask(() => raise(flags)),
    remember: (dive) => {
      if (dive !== chosenDive()) history.pushState(null, '', dive === null ? location.pathname + location.search : `#dive=${dive}`);
    },
    // Paper needs no film: a few steps a second spare a phone's battery, and one a second whoever asked for calm.
    leastStep_s: () => (calm.matches ? 1 : 0.08),
  },
  chosenDive(),
);
const act: Act = (action) => page.act(action);

const shell: View = {
  draw(state): void {
    document.body.dataset.scene = state.dive ? 'dive' : state.listed && state.wanted === null ? 'blank' : 'empty';
    document.body.dataset.replay = String(state.dive !== null && (state.playhead.mode !== 'following' || state.dive.over));
  },
  destroy(): void {},
};

const views: readonly Drawn[] = [
  { view: shell, upon: DATA | LINK | TICK },
  { view: masthead.create(place('masthead'), act), upon: DATA | LINK | TICK },
  { view: honest.create(place('honest')), upon: DATA | TICK },
  { view: now.create(place('now')), upon: DATA | TICK | LINK },
  { view: plan.create(place('plan')), upon: DATA | TICK | SIZE },
  { view: column.create(place('column')), upon: DATA | TICK | SIZE },
  { view: depth.create(place('depth'), act), upon: DATA | PLAYHEAD | SIZE },
  { view: ribbon.create(place('ribbon'), act), upon: DATA | PLAYHEAD | SIZE },
  { view: controls.create(place('controls'), act), upon: DATA | PLAYHEAD | LINK },
  { view: notes.create(place('notes'), act), upon: DATA | TICK },
  { view: targets.create(place('targets')), upon: DATA | TICK },
  { view: figures.create(place('figures')), upon: DATA | TICK },
  { view: cautions.create(place('cautions')), upon: 0 },
  { view: spoken.create(place('spoken'), ports), upon: DATA | TICK | LINK },
];

let last_ms = 0;
const frame = new Frame(
  (run) => requestAnimationFrame(run),
  (now_ms) => {
    const passed_s = Math.min(0.5, Math.max(0, (now_ms - last_ms) / 1000));
    last_ms = now_ms;
    return page.step(passed_s);
  },
  () => page.state,
  views,
);

const sizes = new ResizeObserver(() => frame.raise(SIZE));
for (const id of ['plan', 'column', 'depth', 'ribbon']) sizes.observe(place(id));
for (const query of ['(forced-colors: active)', '(prefers-contrast: more)', 'print']) matchMedia(query).addEventListener('change', () => frame.raise(ALL));
addEventListener('popstate', () => page.show(chosenDive()));
addEventListener('online', () => act({ do: 'retry' }));
frame.raise(ALL);
