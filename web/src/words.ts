/**
 * Every word the page says, in the language in use: a second language is a second file of one shape.
 *
 * Rules: no module outside words/ holds a word a follower can read or hear; numbers arrive already formatted; words
 * are looked up when they are said, so that they follow the language.
 */

import { de } from './words/de';
import { guestDe, proofDe } from './words/de_proof';
import { en } from './words/en';
import { guestEn, proofEn } from './words/en_proof';
import type { Words } from './words/shape';

export type { Words };

/** Every language there is; the first is that of the built page. */
export const LANGUAGES = {
  en: { ...en, proof: proofEn, guest: guestEn },
  de: { ...de, proof: proofDe, guest: guestDe },
} satisfies Readonly<Record<string, Words>>;

export type Language = keyof typeof LANGUAGES;

/** The words in use. */
export let words: Words = LANGUAGES.en;

/** Use another language from now on; whoever has written in the old one writes again. */
export function speak(language: Language): void {
  words = LANGUAGES[language];
}

/** Return the first language wished for that there is, English where none is; tags as in RFC 5646 ("de-AT"). */
export function languageFor(wished: readonly string[]): Language {
  const primary = wished.map((tag) => tag.toLowerCase().split('-')[0] ?? '');
  return primary.find((tag): tag is Language => Object.hasOwn(LANGUAGES, tag)) ?? 'en';
}
