/** The world outside, as a browser offers it: the desk's only module that fetches, sets timers or keeps anything. */

import type { LinkPorts } from './link';
import { readSent, type Sent } from './stop';

const ANSWER_MS = 10_000;
const STOP_MS = 3_000;
const TOKEN = 'offing.desk.token';
const OWED = 'offing.desk.stop';

export interface Answered {
  readonly status: number;
  readonly value: unknown;
}

/** Take the token out of the address, so that it is in no history and on no photograph; keep it while the tab lives. */
export function tokenTaken(): string | null {
  const given = decoded(location.hash.slice(1));
  if (given !== '') {
    keepToken(given);
    history.replaceState(null, '', location.pathname);
  }
  return stored(sessionStorage, TOKEN);
}

/** What no browser writes stays as it is: it is no key, and is refused as one. */
function decoded(text: string): string {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}

export function keepToken(token: string): void {
  store(sessionStorage, TOKEN, token);
}

/** Be told of a token that is put into the address of the open page. */
export function onToken(told: () => void): void {
  addEventListener('hashchange', () => {
    if (location.hash.length > 1) told();
  });
}

/** How long ago the stop was pressed that is still owed; null where none is. */
export function stopOwed_s(): number | null {
  const at_ms = Number(stored(localStorage, OWED) ?? NaN);
  return Number.isFinite(at_ms) ? Math.max(0, (Date.now() - at_ms) / 1000) : null;
}

/** Keep that a stop is owed since its first press, beyond the tab too, and ask before the page is left; or forget it. */
export function keepStop(owed: boolean): void {
  if (!owed || stopOwed_s() === null) store(localStorage, OWED, owed ? String(Date.now()) : null);
  if (owed) addEventListener('beforeunload', askBeforeLeaving);
  else removeEventListener('beforeunload', askBeforeLeaving);
}

const askBeforeLeaving = (event: BeforeUnloadEvent): void => event.preventDefault();

/** What this browser keeps for the desk beyond the tab: a name, a look. Nothing secret. */
export const kept = (name: string): string | null => stored(localStorage, `offing.desk.${name}`);
export const keep = (name: string, value: string): void => store(localStorage, `offing.desk.${name}`, value);

function stored(where: Storage, name: string): string | null {
  try {
    return where.getItem(name);
  } catch {
    return null;
  }
}

function store(where: Storage, name: string, value: string | null): void {
  try {
    if (value === null) where.removeItem(name);
    else where.setItem(name, value);
  } catch {
    // It holds until the page is closed.
  }
}

const after = (delay_s: number, run: () => void): (() => void) => {
  const timer = setTimeout(run, delay_s * 1000);
  return () => clearTimeout(timer);
};

export const clock = { now_s: (): number => performance.now() / 1000, after };

/** Run something again and again. */
export function every(delay_s: number, run: () => void): void {
  setInterval(run, delay_s * 1000);
}

async function ask(token: string, path: string, body: unknown, patience_ms: number, keepalive = false): Promise<Answered> {
  const told = body === undefined ? {} : { method: 'POST', body: JSON.stringify(body) };
  const headers = { Authorization: `Bearer ${token}`, ...(body === undefined ? {} : { 'Content-Type': 'application/json' }) };
  const signal = AbortSignal.timeout(patience_ms);
  const answer = await fetch(path, { ...told, headers, signal, keepalive, cache: 'no-store', referrerPolicy: 'no-referrer', credentials: 'omit' });
  const text = await answer.text();
  return { status: answer.status, value: text === '' ? null : asJson(text) };
}

function asJson(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

/** The ports of the line to the ship this page came from. */
export function linkPorts(token: string): LinkPorts {
  return {
    ...clock,
    chance: () => Math.random(),
    read: (path) => ask(token, path, undefined, ANSWER_MS),
    async stream(path, take, ended) {
      const answer = await fetch(path, { headers: { Authorization: `Bearer ${token}` }, signal: ended, cache: 'no-store', credentials: 'omit' });
      if (answer.status !== 200 || !answer.body) return answer.status;
      const reader = answer.body.getReader();
      for (;;) {
        const { done, value } = await reader.read();
        if (done) return answer.status;
        take(value);
      }
    },
  };
}

/** Post to the ship; null where it doesn't answer. */
export async function post(token: string, path: string, body: unknown): Promise<Answered | null> {
  try {
    return await ask(token, path, body, ANSWER_MS);
  } catch {
    return null;
  }
}

/** Post the stop; it outlives the page, and has a patience of its own, so that it is soon sent again. */
export async function postStop(token: string, who: string): Promise<Sent> {
  try {
    return readSent(await ask(token, '/stop', { who }, STOP_MS, true));
  } catch {
    return readSent(null);
  }
}

/** Be told when the tab is hidden, and when it is shown again. */
export function onHidden(told: (isHidden: boolean) => void): void {
  const tell = (): void => told(document.visibilityState === 'hidden');
  document.addEventListener('visibilitychange', tell);
  // A tab that was opened behind another one has never been shown.
  tell();
}

/** Copy a text; false where the browser doesn't let a page do that, as over plain HTTP from another computer. */
export async function copy(text: string): Promise<boolean> {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    return false;
  }
}

/** A page that a browser kept aside and brings back has lost its line and its timers: begin it anew. */
export function anewOnReturn(): void {
  addEventListener('pageshow', ({ persisted }) => {
    if (persisted) location.reload();
  });
}

/** Whether the computer is set to a dark look. */
export const prefersDark = (): boolean => matchMedia('(prefers-color-scheme: dark)').matches;
export function onPreference(changed: () => void): void {
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', changed);
}
