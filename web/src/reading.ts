/** A recording that was fetched: its records, the frames they came in, and where it stops making sense, if it does. */

import { checkRecording, decodeRecording, Refused, type DiveEntry, type Integrity, type Recording, type Released } from './decode';
import type { Ports } from './transport';

export type DigestEngine = Parameters<typeof checkRecording>[2];

export interface Reading {
  readonly records: readonly Released[];
  readonly frames: readonly Uint8Array[];
  readonly integrity: Integrity;
  /** The sequence number from which it can't be as it was made; null where nothing speaks against it. */
  readonly flaw: number | null;
}

/** Fetch, decode and check a recording; 'outdated': it is of a later version. */
export async function readRecording(ports: Pick<Ports, 'read'>, entry: DiveEntry, digest: DigestEngine): Promise<Reading | 'failed' | 'outdated'> {
  const { status, bytes } = await ports.read(entry.recording);
  if (status !== 200) return 'failed';
  const recording = decodeRecording(bytes);
  if (recording.ending instanceof Refused && recording.ending.reason === 'header: version') return 'outdated';
  const others = recording.records.findIndex((record) => record.dive !== entry.dive);
  const integrity = !entry.closed ? 'incomplete' : others < 0 ? await checkRecording(bytes, recording, digest) : 'damaged';
  const records = others < 0 ? recording.records : recording.records.slice(0, others);
  const isFlawed = others >= 0 || integrity === 'damaged' || recording.ending instanceof Refused;
  const isCut = integrity === 'verified' && records.at(-1)?.kind !== 'end';
  return {
    records,
    frames: records.map((_, i) => frameOf(bytes, recording, i)),
    integrity: isCut ? 'incomplete' : integrity,
    flaw: isFlawed ? records.length : null,
  };
}

function frameOf(bytes: Uint8Array, { ends }: Recording, i: number): Uint8Array {
  return bytes.subarray(ends[i - 1] ?? 0, ends[i]);
}
