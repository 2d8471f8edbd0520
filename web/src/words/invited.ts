/** What the page says to a guest of the invitation, in every language: fetched with what draws it, for most aren't guests. */

import type { Language } from '../words';

const en = {
  heading: 'Invitation',
  here: (audience: string) => `Here by invitation (${audience}).`,
  until: (day: string) => `Until ${day}.`,
  keep: 'Remember it on this device',
  forget: 'Forget it here',
  open: 'See what is open to all',
};

export const INVITED: Readonly<Record<Language, typeof en>> = {
  en,
  de: {
    heading: 'Einladung',
    here: (audience) => `Auf Einladung hier (${audience}).`,
    until: (day) => `Bis ${day}.`,
    keep: 'Auf diesem Gerät merken',
    forget: 'Hier vergessen',
    open: 'Zeigen, was für alle offen ist',
  },
};
