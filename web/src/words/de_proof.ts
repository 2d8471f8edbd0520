/** What the page says in German of the ship's signatures, and to a guest. */

import type { Words } from './shape';

export const proofDe: Words['proof'] = {
  checkingMore: '(wird gerade geprüft)',
  signed: 'Vom Schiff signiert',
  bySome: 'Signiert',
  changedMore: 'mit einem anderen Schlüssel als zuvor.',
  signedMore: 'und hier geprüft.',
  cutMore: 'und hier geprüft, so weit es reicht: das Ende fehlt.',
  unchecked: 'Nicht geprüft:',
  insecureMore: 'Signaturen lassen sich auf einer Seite, die nicht über https kommt, nicht prüfen.',
  browserMore: 'dieser Browser ist zu alt, um Signaturen zu prüfen.',
  unsigned: 'Nicht signiert:',
  unsignedMore: 'niemand kann sagen, ob es so ist, wie das Schiff es sandte.',
  meaning: 'Das Schiff signiert jeden Datensatz. Wer ihn weitergibt, kann Datensätze zurückhalten, aber keinen unbemerkt ändern.',
  basis: {
    link: 'Geprüft mit dem Schlüssel aus dem geöffneten Link.',
    kept: 'Geprüft mit dem Schlüssel, den dieser Browser von dieser Website aufbewahrt.',
    first: 'Der Schlüssel kam mit dem Tauchgang: eine Hand hat alles signiert, aber wessen? Bitte mit dem Schlüssel vergleichen, den jemand an Bord genannt hat.',
  },
  beyond: 'Wer diese Seite geschickt hat, kann auch sie geändert haben. Ohne ihr zu trauen: „offing verify“, mit der Datei der Aufzeichnung und diesem Schlüssel.',
  key: 'Der Schlüssel:',
  outOfTurn: (n) => `${n === '1' ? 'Ein Datensatz kam' : `${n} Datensätze kamen`} doppelt, außer der Reihe oder gar nicht. Das ist berichtigt.`,
  seals: (n, time) => `Das Schiff versiegelt seine genaue Aufzeichnung jede Minute. Siegel bisher: ${n}, das letzte bei ${time}. Sie verraten nichts davon und können es später belegen.`,
  alarm: {
    altered: 'Unterwegs verändert',
    notShown: 'Dieser Tauchgang wird nicht gezeigt',
    nothing: 'Dieser Tauchgang ist nicht, was das Schiff signiert hat. Nichts davon wird gezeigt.',
    signature: (record) => `Datensatz ${record} dieses Tauchgangs ist nicht, was das Schiff signiert hat. Was zu sehen ist, endet davor; Späteres wird nicht angenommen.`,
    missing: (record) => `Datensatz ${record} dieses Tauchgangs fehlt oder steht am falschen Platz. Was zu sehen ist, endet davor; Späteres wird nicht angenommen.`,
    other: 'Es kam etwas, das nicht vom Schiff signiert ist. Es wird nicht gezeigt.',
    link: 'Dieser Tauchgang ist nicht mit dem Schlüssel aus dem geöffneten Link signiert. Nichts davon wird gezeigt.',
    advice: 'Bitte denen sagen, die diese Website betreiben.',
    changed: 'Ein anderer Schlüssel als zuvor',
    changedMore: 'Dieser Tauchgang ist mit einem anderen Schlüssel signiert, als dieser Browser aufbewahrt. Das Schiff kann neu eingerichtet sein, oder jemand gibt sich dafür aus: bitte fragen, bevor man sich darauf verlässt.',
    accept: 'Der neue Schlüssel stimmt: aufbewahren',
    stripped: 'Signaturen fehlen',
    strippedMore: 'Frühere Tauchgänge waren vom Schiff signiert; dieser ist es nicht. Niemand kann sagen, ob er so ist, wie das Schiff ihn sandte.',
  },
  connection: 'angehalten',
  connectionMore: 'etwas wurde unterwegs verändert',
};

export const guestDe: Words['guest'] = {
  title: 'Die Einladung ist beendet',
  more: 'Wer eingeladen hat, kann einen neuen Link schicken.',
  unknown: {
    word: 'die Einladung ist hier nicht bekannt',
    title: 'Die Einladung ist hier nicht bekannt',
    more: 'Sie kann beendet sein, oder diese Website weiß noch nicht von ihr: die Seite fragt von selbst wieder. Wer eingeladen hat, kann einen neuen Link schicken.',
  },
};
