/** The shape of a catalogue: every language has each key of the English one, as text or as a sentence to be filled. */

import type { en } from './en';
import type { guestEn, proofEn } from './en_proof';

/** What the page says of dives. */
export type Main = typeof en;
export type Words = Main & { readonly proof: typeof proofEn; readonly guest: typeof guestEn };
