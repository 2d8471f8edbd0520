/** The shape of a catalogue: every language has each key of the English one, as text or as a sentence to be filled. */

import type { en } from './en';

export type Words = typeof en;
