/**
 * What the page says of the ship's signatures: quietly where all is well, unmistakably where something was altered.
 *
 * Rules: pure; nothing is called checked that wasn't.
 */

import * as format from './format';
import type { State } from './state';
import type { Proof } from './trust';
import { words } from './words';

export interface Alarm {
  readonly title: string;
  readonly more: readonly string[];
  /** The key that whoever has asked may keep; null where there is nothing to keep. */
  readonly accept: string | null;
}

export interface ProofWords {
  readonly word: string;
  readonly more: string;
  /** What stands behind the line, once it is opened. */
  readonly behind: readonly string[];
  readonly key: string | null;
}

/** What must be seen at once; null where nothing is wrong. */
export function alarmWords({ proof, connection, programmeAltered }: State): Alarm | null {
  const say = words.proof.alarm;
  if (proof?.is === 'altered') return { title: say.altered, more: [altered(proof), say.advice], accept: null };
  if (connection.is === 'altered' || programmeAltered) return { title: say.altered, more: [say.other, say.advice], accept: null };
  if (proof?.is === 'unsigned' && proof.known) return { title: say.stripped, more: [say.strippedMore], accept: null };
  const isOther = (proof?.is === 'checking' || proof?.is === 'signed' || proof?.is === 'unchecked') && proof.basis === 'changed';
  return isOther ? { title: say.changed, more: [say.changedMore], accept: proof.is === 'signed' ? proof.key : null } : null;
}

/** Records are counted from 1 here, as people count. */
function altered({ seq, why }: Proof & { is: 'altered' }): string {
  const say = words.proof.alarm;
  if (why === 'link') return say.link;
  return seq === 0 ? say.nothing : say[why](format.number(seq + 1));
}

/** The line about the dive shown; null before one is there. */
export function proofWords(state: State): ProofWords | null {
  const { proof, dive, outOfTurn } = state;
  if (proof === null || dive === null || proof.is === 'altered') return null;
  const say = words.proof;
  const seals = dive.heads > 0 ? [say.seals(format.number(dive.heads), format.clock(dive.headed_s))] : [];
  const aside = [...seals, ...(outOfTurn > 0 ? [say.outOfTurn(format.number(outOfTurn))] : [])];
  if (proof.is === 'unsigned') return { word: say.unsigned, more: say.unsignedMore, behind: aside, key: null };
  if (proof.is === 'unchecked') {
    const more = proof.why === 'insecure' ? say.insecureMore : say.browserMore;
    return { word: say.unchecked, more, behind: [say.meaning, ...aside, say.beyond], key: proof.key };
  }
  const { basis, key } = proof;
  const isOther = basis === 'changed';
  const behind = [say.meaning, ...(isOther ? [] : [say.basis[basis]]), ...aside, say.beyond];
  const isCut = state.integrity === 'incomplete' && !state.live;
  const more = proof.is === 'checking' ? say.checkingMore : isCut ? say.cutMore : say.signedMore;
  return { word: isOther || basis === 'first' ? say.bySome : say.signed, more: isOther ? say.changedMore : more, behind, key };
}
