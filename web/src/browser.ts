/** The world outside, as a browser offers it: the only module that opens sockets, fetches or sets timers. */

import type { Ports } from './transport';

/** The name under which the live tail is asked for where a guest's token goes with it (RFC 6455, section 1.9). */
const PROTOCOL = 'offing';

/**
 * Return the ports of this page; paths are resolved beside `address`, the page's own. A guest's `token` goes in a header, and
 * beside the live tail's name: never in an address.
 */
export function browserPorts(address: string, token: string | null): Ports {
  const asked: RequestInit = token === null ? {} : { headers: { Authorization: `Bearer ${token}` } };
  const protocols = token === null ? [] : [PROTOCOL, `guest.${token}`];
  return {
    async read(path) {
      const answer = await fetch(new URL(path, address), asked);
      return { status: answer.status, bytes: new Uint8Array(await answer.arrayBuffer()) };
    },
    open(path, events) {
      const url = new URL(path, address);
      url.protocol = url.protocol === 'https:' ? 'wss:' : 'ws:';
      const socket = new WebSocket(url, protocols);
      socket.binaryType = 'arraybuffer';
      socket.onopen = () => events.opened();
      // A text frame is no record: an empty one is refused as such.
      socket.onmessage = ({ data }) => events.frame(new Uint8Array(data instanceof ArrayBuffer ? data : new ArrayBuffer(0)));
      socket.onclose = ({ code }) => events.closed(code);
      return () => {
        socket.onopen = socket.onmessage = socket.onclose = null;
        socket.close();
      };
    },
    after(delay_s, run) {
      const timer = setTimeout(run, delay_s * 1000);
      return () => clearTimeout(timer);
    },
    now_s: () => performance.now() / 1000,
    chance: () => Math.random(),
  };
}

/** The text of an element that holds data; null where there is none. */
export const dataIn = (id: string): string | null => document.getElementById(id)?.textContent ?? null;

/** Addresses of pictures that the page holds, for this page alone. */
export const pictureAddresses = {
  make: (jpeg: Uint8Array<ArrayBuffer>): string => URL.createObjectURL(new Blob([jpeg], { type: 'image/jpeg' })),
  giveBack: (address: string): void => URL.revokeObjectURL(address),
};

/** The time since the page was opened, in milliseconds. */
export const now_ms = (): number => performance.now();

/** The languages this browser's owner prefers, the first most. */
export const languagesWished = (): readonly string[] => navigator.languages;

/** Whether anybody can see the page. */
export const isSeen = (): boolean => document.visibilityState === 'visible';

/** Put a text where it can be pasted from; false where the browser has no such place or refuses. */
export async function copy(text: string): Promise<boolean> {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    return false;
  }
}

/** The digest of a page that is served securely; null elsewhere. */
export const browserDigest = globalThis.crypto?.subtle ? crypto.subtle.digest.bind(crypto.subtle) : null;

/** What checks signatures on a page that is served securely; null elsewhere. */
export const browserEngine = globalThis.crypto?.subtle ?? null;

/** Keep something for as long as this tab is open. */
export const tab = {
  read(name: string): string | null {
    try {
      return sessionStorage.getItem(name);
    } catch {
      return null;
    }
  },
  write(name: string, value: string | null): void {
    try {
      if (value === null) sessionStorage.removeItem(name);
      else sessionStorage.setItem(name, value);
    } catch {
      // It holds until the page is closed.
    }
  },
};

/** Read what this browser keeps for the page; null where it keeps nothing. */
export function kept(name: string): string | null {
  try {
    return localStorage.getItem(name);
  } catch {
    return null;
  }
}

/** Keep a choice in this browser, as far as it lets pages keep any; null forgets it. */
export function keep(name: string, value: string | null): void {
  try {
    if (value === null) localStorage.removeItem(name);
    else localStorage.setItem(name, value);
  } catch {
    // The choice holds until the page is closed.
  }
}
