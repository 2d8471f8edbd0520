/**
 * Every word the page says, in one place: a second language is a second file of this shape.
 *
 * Rules: no module outside words/ holds a word a follower can read or hear; numbers arrive already formatted.
 */

import { en } from './words/en';
import type { Words } from './words/shape';

export type { Words };

export const words: Words = en;
