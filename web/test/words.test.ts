import { afterEach, describe, expect, test } from 'vitest';
import { LANGUAGES, languageFor, speak, words, type Language } from '../src/words';
import { INVITED } from '../src/words/invited';

/** What may be the same in two languages: symbols, formulas of layout, and words they share. */
const SHARED = new Set([
  'page.titleOf', 'plan.title', 'notes.by', 'column.at', 'controls.play.0', 'ribbon.legs.none',
  'units.metre', 'units.metresPerSecond', 'units.knot', 'units.squareMetre', 'units.squareKilometre', 'units.second', 'units.minute', 'units.hour', 'units.degree',
  'time.keys.rows.1.0', 'time.keys.rows.3.0', 'time.keys.rows.4.0', 'time.keys.rows.5.0', 'time.keys.rows.6.0', 'time.keys.rows.7.0',
]);
const LISTED: ReadonlySet<string> = new Set(['noReport', 'deck', 'descent', 'bottom', 'ascent', 'onTheBottom', 'underWay']);

/** Every leaf of a catalogue: its path, and what it says of placeholders, so that a sentence is compared, too. */
function leaves(value: unknown, path: readonly string[] = []): [string, string][] {
  if (typeof value === 'string') return [[path.join('.'), value]];
  if (typeof value === 'function') {
    const key = path.at(-1) ?? '';
    const list = LISTED.has(key) && path[0] === 'headline';
    const given = Array.from({ length: value.length }, (_, i) => `<${i}>`);
    return [[path.join('.'), (value as (...all: unknown[]) => string)(...(list ? [['<0>', '<1>']] : given))]];
  }
  return Object.entries(value as object).flatMap(([key, one]) => leaves(one, [...path, key]));
}

const catalogue = (language: Language): Map<string, string> => new Map(leaves({ ...LANGUAGES[language], invited: INVITED[language] }));
const english = catalogue('en');
const others = (Object.keys(LANGUAGES) as Language[]).filter((language) => language !== 'en');

afterEach(() => speak('en'));

describe.each(others)('the catalogue %s', (language) => {
  const own = catalogue(language);

  test('has every key of the shape and no other', () => {
    expect([...own.keys()].sort()).toEqual([...english.keys()].sort());
  });

  test('leaves nothing untranslated', () => {
    const same = [...own].filter(([path, said]) => said === english.get(path) && !SHARED.has(path)).map(([path]) => path);
    expect(same).toEqual([]);
    expect([...own].filter(([path, said]) => said.trim() === '' && english.get(path) !== '').map(([path]) => path)).toEqual([]);
  });

  test('says of every sentence what it was given', () => {
    for (const [path, said] of own) {
      const given = (text: string) => [...new Set(text.match(/<\d>/g) ?? [])].sort();
      expect(given(said), path).toEqual(given(english.get(path) as string));
    }
  });

  test('writes numbers as its own readers do', () => {
    expect(() => new Intl.NumberFormat(LANGUAGES[language].locale)).not.toThrow();
    expect(Intl.NumberFormat.supportedLocalesOf(LANGUAGES[language].locale)).toHaveLength(1);
    expect(LANGUAGES[language].locale.startsWith(LANGUAGES[language].language)).toBe(true);
  });
});

describe('German', () => {
  test('tells one from many', () => {
    const { long, time, headline } = LANGUAGES.de;
    expect([long.hour('1'), long.hour('2'), long.day('1')]).toEqual(['1 Stunde', '2 Stunden', '1 Tag']);
    expect([time.followers('1'), time.followers('12')]).toEqual(['1 Person sieht zu', '12 Personen sehen zu']);
    expect(headline.bottom(['Lantern'])).toBe('Lantern ist unten an der Arbeit');
    expect(headline.bottom(['Lantern', 'Moth'])).toBe('Lantern und Moth sind unten an der Arbeit');
  });
});

describe('the language', () => {
  test('is the first wished for that there is, English where none is', () => {
    expect(languageFor(['de-AT', 'en'])).toBe('de');
    expect(languageFor(['fr', 'DE'])).toBe('de');
    expect(languageFor(['', 'en-US', 'de'])).toBe('en');
    expect(languageFor(['fr', 'toString', 'constructor'])).toBe('en');
    expect(languageFor([])).toBe('en');
  });

  test('changes what is said next', () => {
    speak('de');
    expect(words.headline.noDive).toBe('Noch kein Tauchgang');
    speak('en');
    expect(words.headline.noDive).toBe('No dive yet');
  });
});
