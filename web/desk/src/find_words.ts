/** The words of the desk's part about finds; see words.ts for what all words keep to. */

const files = (n: string, one: string, more: string): string => (n === '0' ? '' : n === '1' ? `1 ${one}` : `${n} ${more}`);

export const finds = {
  title: 'Finds',
  none: 'No find yet.',
  count: (n: string) => (n === '1' ? '1 find' : `${n} finds`),
  newest: (shown: string, all: string) => `the newest ${shown} of ${all}`,
  record: 'This record is',
  asFound: 'of a new find, as found',
  later: (name: string) => `a later one of ${name}`,
  name: 'Name on board',
  what: 'What it is',
  description: 'How it lies, its state, what is beside it',
  target: 'Where a target is',
  noTarget: 'not a target',
  place: 'Or at',
  placeHelp: 'Such as 61 30.5 N, 3 12.2 E',
  within: 'Within (95 %), m',
  depth: 'Depth, m',
  vehicle: 'Found by',
  nobody: 'nobody',
  here: (vehicle: string) => `Where ${vehicle} is`,
  more: 'Found by, and how it lies',
  files: 'Photographs and drawings: offing find, at the ship’s terminal.',
  whole: 'What is left empty stays as it was recorded before.',
  go: 'Record the find',
  goLater: 'Record it, superseding',
  private: 'Private. Nobody ashore is told of it.',
  now: (row: string) => `As found, row ${row}`,
  superseded: (row: string, n: string) => `Row ${row}, supersedes ${n === '1' ? 'the record as found' : `${n} records`}`,
  first: (row: string, what: string, place: string) => `Was found, row ${row}: ${what}; ${place}`,
  at: (place: string, radius: string | null, depth: string | null) =>
    [place, radius === null ? '' : `within ${radius} (95 %)`, depth === null ? '' : `depth ${depth}`].filter((part) => part !== '').join(', '),
  nowhere: 'no place',
  ofTarget: (name: string) => `target ${name}`,
  kept: (photographs: string, drawings: string) =>
    [files(photographs, 'photograph', 'photographs'), files(drawings, 'drawing', 'drawings')].filter((part) => part !== '').join(', '),
  by: (who: string, ago: string) => `${who}, ${ago} ago`,
  again: 'Record anew',
  againOf: (name: string) => `Record anew: ${name}`,
};
