/** The world outside, as a browser offers it: the only module that opens sockets, fetches or sets timers. */

import type { Ports } from './transport';

/** Return the ports of this page; paths are resolved beside `address`, the page's own. */
export function browserPorts(address: string): Ports {
  return {
    async read(path) {
      const answer = await fetch(new URL(path, address));
      return { status: answer.status, bytes: new Uint8Array(await answer.arrayBuffer()) };
    },
    open(path, events) {
      const url = new URL(path, address);
      url.protocol = url.protocol === 'https:' ? 'wss:' : 'ws:';
      const socket = new WebSocket(url);
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

/** The digest of a page that is served securely; null elsewhere. */
export const browserDigest = globalThis.crypto?.subtle ? crypto.subtle.digest.bind(crypto.subtle) : null;
