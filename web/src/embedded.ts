/**
 * A recording that lies in the page itself: a briefing, which is one file and asks nobody for anything.
 *
 * Rules: what the page would fetch is answered from the file; there is no socket; what lies in the file is checked like
 * anything fetched.
 */

import { decodeRecording, type DiveList } from './decode';
import type { Answer, Ports } from './transport';

const PATH = 'recording';

/** What a briefing holds beside the page: the recording, and what the presenter wants to say of its moments. */
export interface Embedded {
  readonly recording: Uint8Array<ArrayBuffer>;
  readonly notes: readonly { readonly at_s: number; readonly text: string }[];
}

/** Read what a briefing holds, from the texts of its two elements; null where one is missing or no such thing. */
export function readEmbedded(base64: string | null, json: string | null): Embedded | null {
  if (base64 === null || json === null) return null;
  try {
    const recording = Uint8Array.from(atob(base64.trim()), (letter) => letter.charCodeAt(0));
    const notes: unknown = (JSON.parse(json) as { notes?: unknown }).notes;
    if (!Array.isArray(notes)) return null;
    const told = notes.flatMap((note: unknown) => {
      const { at_s, text } = (note ?? {}) as Record<string, unknown>;
      return typeof at_s === 'number' && typeof text === 'string' ? [{ at_s, text }] : [];
    });
    return { recording, notes: told.sort((one, other) => one.at_s - other.at_s) };
  } catch {
    return null;
  }
}

/** Return ports that know nothing but a recording; timers and clock are those of `world`. */
export function embeddedPorts({ recording }: Embedded, world: Ports): Ports {
  const list = new TextEncoder().encode(JSON.stringify(listOf(recording)));
  const found: Readonly<Record<string, Uint8Array<ArrayBuffer>>> = { 'dives.json': list, [PATH]: recording };
  return {
    ...world,
    async read(path): Promise<Answer> {
      const bytes = found[path];
      return bytes ? { status: 200, bytes } : { status: 404, bytes: new Uint8Array(0) };
    },
    open(_path, events) {
      return world.after(0, () => events.closed(1006));
    },
  };
}

function listOf(recording: Uint8Array): { format: 1 } & DiveList {
  const { records, footer } = decodeRecording(recording);
  const first = records[0];
  const header = first?.kind === 'dive' ? first.header : null;
  const dives = first ? [{ dive: first.dive, closed: footer !== null, records: records.length, recording: PATH }] : [];
  return { format: 1, expedition: header?.expedition ?? '', audience: header?.audience ?? '', dives };
}

/** Return what the presenter wants to say at a moment: the latest of their notes that has begun. */
export function noteAt({ notes }: Embedded, at_s: number): string | null {
  return notes.findLast((note) => note.at_s <= at_s)?.text ?? null;
}
