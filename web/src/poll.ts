/**
 * A small file of the site that changes now and then.
 *
 * Rules: the world is passed in (`Ports`); asked for at the start and once a minute, while it is due (seen and live);
 * a site that has no such file is not asked again, but no answer at all is the network's fault, and passes.
 */

import type { Ports } from './transport';

const EVERY_S = 60;

/** Ask from now on; `take` gets each file, null while there is none, and returns whether it is one. The result ends it. */
export function poll(ports: Pick<Ports, 'read' | 'after'>, path: string, isDue: () => boolean, take: (bytes: Uint8Array | null) => boolean): () => void {
  let cancel = (): void => {};
  let isOver = false;
  const later = (): void => {
    if (!isOver) cancel = ports.after(EVERY_S, () => void (isDue() ? ask() : (take(null), later())));
  };
  const ask = async (): Promise<void> => {
    const answer = await ports.read(path).catch(() => null);
    if (isOver) return;
    const isFound = take(answer?.status === 200 ? answer.bytes : null);
    if (answer === null || isFound) later();
  };
  void ask();
  return () => {
    isOver = true;
    cancel();
  };
}
