/**
 * What is to come, from `programme.json` beside the list of dives.
 *
 * Rules: the ship counts down, so this page needs no clock of its own; while nobody can say how old the file is, the
 * countdown isn't shown.
 */

import { poll } from './poll';
import { programmeOf, type Programme } from './programme';
import type { Ports } from './transport';

/** Where the programme of an audience is; null: of those whom the site shows first. */
export const programmePath = (audience: string | null): string => (audience === null ? '' : `recordings/${audience}/`) + 'programme.json';

/** Ask from now on; `tell` gets each programme that differs. The result ends it. */
export function watchProgramme(
  ports: Pick<Ports, 'read' | 'after'>,
  path: string,
  isDue: () => boolean,
  tell: (programme: Programme) => void,
): () => void {
  let held: Programme | null = null;
  const take = (next: Programme): void => {
    if (JSON.stringify(next) === JSON.stringify(held)) return;
    held = next;
    tell(next);
  };
  return poll(ports, path, isDue, (bytes) => {
    const found = bytes && programmeOf(bytes);
    if (found) take(found);
    else if (held) take({ ...held, left_s: null });
    return found !== null;
  });
}
