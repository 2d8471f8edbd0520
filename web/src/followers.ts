/** How many follow, from `followers.json` beside the page: a number is shown only while it is fresh. */

import { poll } from './poll';
import type { Ports } from './transport';

const PATH = 'followers.json';

/** Read an answer's text; null if it isn't one. */
export function followersOf(bytes: Uint8Array): number | null {
  try {
    const { followers } = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes)) as { followers?: unknown };
    return Number.isSafeInteger(followers) && (followers as number) >= 0 ? (followers as number) : null;
  } catch {
    return null;
  }
}

/** Ask from now on; `tell` gets each number, null while there is none. The result ends it. */
export function watchFollowers(ports: Pick<Ports, 'read' | 'after'>, isDue: () => boolean, tell: (followers: number | null) => void): () => void {
  return poll(ports, PATH, isDue, (bytes) => {
    const found = bytes && followersOf(bytes);
    tell(found);
    return found !== null;
  });
}
