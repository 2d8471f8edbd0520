import { afterEach, describe, expect, test } from 'vitest';
import { alarmWords, proofWords } from '../src/describeProof';
import type { State } from '../src/state';
import type { Basis, Proof } from '../src/trust';
import { speak } from '../src/words';
import { KEY } from './signed';

afterEach(() => speak('en'));

const stateOf = (proof: Proof | null, change: Partial<State> = {}): State =>
  ({ proof, dive: { heads: 0, headed_s: NaN }, outOfTurn: 0, connection: { is: 'connected' }, integrity: null, live: true, programmeAltered: false, ...change }) as State;
const signed = (basis: Basis, is: 'checking' | 'signed' = 'signed'): Proof => ({ is, basis, key: KEY });
const line = (proof: Proof, change: Partial<State> = {}) => {
  const words = proofWords(stateOf(proof, change));
  return words && `${words.word} ${words.more}`;
};
const alarm = (proof: Proof | null, change: Partial<State> = {}) => alarmWords(stateOf(proof, change));

describe('the line', () => {
  test('says that the ship signed it only where her key is known otherwise than from the dive', () => {
    expect([line(signed('link')), line(signed('kept')), line(signed('first'))]).toEqual([
      'Signed by the ship and checked here.', 'Signed by the ship and checked here.', 'Signed and checked here.',
    ]);
  });

  test('calls nothing checked that was not', () => {
    const others: Proof[] = [signed('kept', 'checking'), { is: 'unchecked', why: 'insecure', basis: 'first', key: KEY }, { is: 'unchecked', why: 'browser', basis: 'kept', key: KEY }, { is: 'unsigned', known: false }, signed('changed')];
    expect(others.map((proof) => line(proof))).toEqual([
      'Signed by the ship (being checked)',
      'Not checked: signatures can’t be checked on a page that doesn’t come over https.',
      'Not checked: this browser is too old to check signatures.',
      'Not signed: nobody can tell whether it is as the ship sent it.',
      'Signed with another key than before.',
    ]);
  });

  test('says where the end of a recording is missing', () => {
    expect(line(signed('kept'), { integrity: 'incomplete', live: false })).toMatch(/its end is missing\.$/);
    expect(line(signed('kept'), { integrity: 'incomplete' })).toBe('Signed by the ship and checked here.');
  });

  test('has the key, and what came out of turn, behind it', () => {
    expect(proofWords(stateOf(signed('first'), { outOfTurn: 3 }))).toMatchObject({ key: KEY, behind: expect.arrayContaining(['3 records came twice, out of turn or not at all. It was put right.']) });
    expect(proofWords(stateOf(signed('first'), { outOfTurn: 1 }))?.behind.join(' ')).toMatch(/One record came twice/);
  });

  test('tells how far the exact record is sealed, signed or not, and nothing where no seal came', () => {
    const dive = (heads: number, headed_s: number) => ({ dive: { heads, headed_s } }) as Partial<State>;
    const behind = (proof: Proof, change?: Partial<State>) => proofWords(stateOf(proof, change))?.behind.join(' ') ?? '';
    for (const proof of [signed('kept'), { is: 'unsigned', known: false }, { is: 'unchecked', why: 'browser', basis: 'kept', key: KEY }] as const) {
      expect(behind(proof, dive(1_203, 7_260))).toMatch(/exact record each minute\. Seals so far: 1,203, the last at 2:01:00\./);
      expect(behind(proof, dive(1, 0))).toMatch(/Seals so far: 1, the last at 0:00:00/);
      expect(behind(proof)).not.toMatch(/seal/i);
    }
    speak('de');
    expect(behind(signed('kept'), dive(12, 720))).toMatch(/Siegel bisher: 12, das letzte bei 0:12:00\./);
  });

  test('is not there before a dive is, nor where it was altered', () => {
    expect([proofWords(stateOf(null)), proofWords(stateOf(signed('first'), { dive: null })), proofWords(stateOf({ is: 'altered', seq: 2, why: 'signature' }))]).toEqual([null, null, null]);
  });
});

describe('the alarm', () => {
  test('is silent where nothing is wrong, in every state of an honest site', () => {
    const honest: (Proof | null)[] = [null, signed('link'), signed('kept'), signed('first'), signed('first', 'checking'), { is: 'unchecked', why: 'insecure', basis: 'first', key: KEY }, { is: 'unsigned', known: false }];
    for (const proof of honest) for (const is of ['connected', 'connecting', 'recordings only'] as const) expect(alarm(proof, { connection: { is } })).toBeNull();
  });

  test.each([
    [{ is: 'altered', seq: 3, why: 'signature' }, 'Record 4 of this dive is not what the ship signed. What is shown ends before it; nothing later is taken.'],
    [{ is: 'altered', seq: 1_199, why: 'missing' }, 'Record 1,200 of this dive is missing or out of place. What is shown ends before it; nothing later is taken.'],
    [{ is: 'altered', seq: 0, why: 'signature' }, 'This dive is not what the ship signed. Nothing of it is shown.'],
    [{ is: 'altered', seq: 0, why: 'link' }, 'This dive is not signed with the key in the link that was opened. Nothing of it is shown.'],
  ] as const)('says what was altered, and from where on: %o', (proof, words) => {
    expect(alarm(proof)).toEqual({ title: 'Altered on its way', more: [words, 'Please tell whoever runs this site.'], accept: null });
  });

  test('says that something came that isn’t of the dive shown', () => {
    const words = 'Something came that the ship did not sign. It is not shown.';
    expect(alarm(signed('kept'), { connection: { is: 'altered' } })?.more[0]).toBe(words);
    expect(alarm(signed('kept'), { programmeAltered: true })?.more[0]).toBe(words);
  });

  test('says that the key is another one, and offers to keep it only once all is checked with it', () => {
    expect(alarm(signed('changed', 'checking'))).toMatchObject({ title: 'Another key than before', accept: null });
    for (const why of ['insecure', 'browser'] as const) expect(alarm({ is: 'unchecked', why, basis: 'changed', key: KEY })).toMatchObject({ title: 'Another key than before', accept: null });
    expect(alarm(signed('changed'))).toMatchObject({ title: 'Another key than before', accept: KEY });
  });

  test('says that signatures are missing where there were some', () => {
    expect(alarm({ is: 'unsigned', known: true })?.title).toBe('Signatures are missing');
  });

  test('speaks German, too', () => {
    speak('de');
    expect(alarm({ is: 'altered', seq: 3, why: 'signature' })?.more[0]).toBe('Datensatz 4 dieses Tauchgangs ist nicht, was das Schiff signiert hat. Was zu sehen ist, endet davor; Späteres wird nicht angenommen.');
  });
});
