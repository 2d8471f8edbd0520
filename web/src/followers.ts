/**
 * How many follow, from `followers.json` beside the page.
 *
 * Rules: the world is passed in (`Ports`); asked for at the start and once a minute, while it is due (seen and live);
 * a site that has no such number is not asked again; a number is shown only while it is fresh.
 */

import type { Ports } from './transport';

const PATH = 'followers.json';
const EVERY_S = 60;

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
  let cancel = (): void => {};
  let isOver = false;
  const later = (): void => {
    if (!isOver) cancel = ports.after(EVERY_S, () => void (isDue() ? ask() : (tell(null), later())));
  };
  const ask = async (): Promise<void> => {
    const answer = await ports.read(PATH).catch(() => null);
    if (isOver) return;
    const found = answer?.status === 200 ? followersOf(answer.bytes) : null;
    tell(found);
    // No answer at all is the network's fault, and passes; an answer without a number stays one.
    if (answer === null || found !== null) later();
  };
  void ask();
  return () => {
    isOver = true;
    cancel();
  };
}
