/**
 * What is to come, from `programme.json` beside the list of dives.
 *
 * Rules: the ship counts down, so this page needs no clock of its own; while nobody can say how old the file is, the
 * countdown isn't shown. What the ship didn't sign isn't told, nor what she told before what was told last; that nothing is
 * told, and where to write to ashore, is the site's own word.
 */

import { poll } from './poll';
import { isAnythingIn, numberOf, programmeOf, recordIn, type Programme } from './programme';
import { Seal } from './seal';
import type { Ports } from './transport';
import type { Proving } from './witness';

/** Where the programme of an audience is; null: of those whom the site shows first. */
export const programmePath = (audience: string | null): string => (audience === null ? '' : `recordings/${audience}/`) + 'programme.json';

/** Whether the ship signed it, if that can be known; what was signed may be asked for until the ship's key is known. */
export type Check = (bytes: Uint8Array, programme: Programme) => Promise<boolean>;

/** A check against the key in the link, or the one kept of this site, for an audience (null: not known yet). */
export function programmeCheck({ engine, trust }: Proving, audience: () => string | null): Check {
  let last = -1;
  return async (bytes, programme) => {
    const [key, who] = [trust.linked ?? trust.kept(), audience()];
    const record = recordIn(bytes);
    const isEmpty = record === null && !isAnythingIn(programme);
    const seal = engine === null || key === null || who === null || isEmpty ? null : await Seal.of(engine, key, who);
    if (seal === null) return true;
    const number = record === null ? null : numberOf(record, programme);
    if (record === null || number === null || number < last || !(await seal.isOn(record))) return false;
    last = number;
    return true;
  };
}

/** Ask from now on; `tell` gets each programme that differs, 'altered' for one that the check refuses. The result ends it. */
export function watchProgramme(
  ports: Pick<Ports, 'read' | 'after'>,
  path: string,
  isDue: () => boolean,
  tell: (programme: Programme | 'altered') => void,
  check: Check | null = null,
): () => void {
  let held: Programme | 'altered' | null = null;
  let turn = 0;
  const take = (next: Programme | 'altered'): void => {
    if (JSON.stringify(next) === JSON.stringify(held)) return;
    held = next;
    tell(next);
  };
  const takeChecked = async (bytes: Uint8Array, found: Programme, checked: Check): Promise<void> => {
    const mine = (turn += 1);
    const isGood = await checked(bytes, found);
    if (mine === turn) take(isGood ? found : 'altered');
  };
  return poll(ports, path, isDue, (bytes) => {
    const found = bytes && programmeOf(bytes);
    if (found && check) void takeChecked(bytes, found, check);
    else if (found) take(found);
    else if (held !== null && held !== 'altered') take({ ...held, left_s: null });
    return found !== null;
  });
}
