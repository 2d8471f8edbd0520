/** What the page says in German of the ship's signatures, and to a guest. */

import type { Words } from './shape';

export const proofDe: Words['proof'] = {
  checking: 'Vom Schiff signiert',
  checkingMore: 'wird gerade geprüft.',
  signed: 'Vom Schiff signiert',
  signedMore: 'und hier geprüft.',
  cutMore: 'und hier geprüft, so weit es reicht: das Ende fehlt.',
  unchecked: 'Angeblich vom Schiff signiert',
  insecureMore: 'das lässt sich hier nicht prüfen, weil diese Seite nicht über https kommt.',
  browserMore: 'das lässt sich hier nicht prüfen, weil dieser Browser zu alt dafür ist.',
  unsigned: 'Nicht signiert',
  unsignedMore: 'niemand kann sagen, ob es so ist, wie das Schiff es sandte.',
  meaning: 'Das Schiff signiert jeden Datensatz, bevor er es verlässt. Wer ihn weitergibt, auch dieser Server, kann Datensätze zurückhalten, aber keinen ändern, ohne dass diese Seite es merkt.',
  basis: {
    link: 'Geprüft mit dem Schlüssel aus dem geöffneten Link.',
    kept: 'Geprüft mit dem Schlüssel, den dieser Browser von dieser Website aufbewahrt.',
    first: 'Der Schlüssel kam mit dem Tauchgang: das zeigt, dass eine Hand alles signiert hat, aber nicht, wessen. Mehr Gewissheit gibt der Vergleich mit dem Schlüssel, wie ihn jemand an Bord oder an Land genannt hat.',
    changed: 'Geprüft allein mit dem eigenen Schlüssel des Tauchgangs.',
  },
  beyond: 'Diese Seite selbst kommt vom Server. Prüfen, ohne ihm zu trauen: „offing verify“ mit der Datei der Aufzeichnung und diesem Schlüssel.',
  key: 'Der Schlüssel:',
  outOfTurn: (n) => `${n === '1' ? 'Ein Datensatz kam' : `${n} Datensätze kamen`} doppelt, außer der Reihe oder gar nicht. Was zu sehen ist, stimmt trotzdem in der Reihenfolge.`,
  alarm: {
    altered: 'Unterwegs verändert',
    nothing: 'Von diesem Tauchgang wird nichts gezeigt: was kam, ist nicht, was das Schiff signiert hat.',
    signature: (record) => `Datensatz ${record} dieses Tauchgangs ist nicht, was das Schiff signiert hat. Was zu sehen ist, endet davor; Späteres wird nicht angenommen.`,
    missing: (record) => `Datensatz ${record} dieses Tauchgangs fehlt oder steht am falschen Platz. Was zu sehen ist, endet davor; Späteres wird nicht angenommen.`,
    live: 'Es kam etwas, das nicht vom Schiff signiert ist. Es wird nicht gezeigt; Späteres wird nicht angenommen.',
    link: 'Dieser Tauchgang ist nicht mit dem Schlüssel aus dem geöffneten Link signiert. Nichts davon wird gezeigt.',
    programme: 'Was als Plan des Kommenden ankam, ist nicht, was das Schiff signiert hat. Es wird nicht gezeigt.',
    advice: 'Der Fehler liegt zwischen dem Schiff und dieser Seite. Bitte denen sagen, die diese Website betreiben.',
    changed: 'Ein anderer Schlüssel als zuvor',
    changedMore: 'Dieser Tauchgang ist mit einem anderen Schlüssel signiert, als dieser Browser von dieser Website aufbewahrt. Vielleicht wurde das Schiff neu eingerichtet, vielleicht gibt sich jemand für das Schiff aus. Vor dem Vertrauen bitte dort fragen, woher die Adresse kam.',
    accept: 'Der neue Schlüssel stimmt: aufbewahren',
    stripped: 'Signaturen fehlen',
    strippedMore: 'Frühere Tauchgänge dieser Website waren vom Schiff signiert; dieser ist es nicht. Niemand kann sagen, ob er so ist, wie das Schiff ihn sandte.',
  },
  connection: 'angehalten',
  connectionMore: 'etwas wurde unterwegs verändert',
};

export const guestDe: Words['guest'] = {
  heading: 'Einladung',
  here: (name) => `Auf Einladung hier: ${name}.`,
  until: (day) => `Bis ${day}.`,
  keep: 'Auf diesem Gerät merken',
  kept: 'Auf diesem Gerät gemerkt.',
  forget: 'Hier vergessen',
  word: 'Einladung beendet',
  title: 'Die Einladung ist beendet',
  more: 'Wer eingeladen hat, kann einen neuen Link schicken.',
  open: 'Zeigen, was für alle offen ist',
};
