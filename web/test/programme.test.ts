import { describe, expect, test } from 'vitest';
import { nextDive } from '../src/describe';
import { programmeOf, type Programme } from '../src/programme';
import { programmeCheck, programmePath, watchProgramme } from '../src/programmeFile';
import type { Connection, State } from '../src/state';
import { speak } from '../src/words';
import { FakePorts, settled } from './ports';
import { DIVE, illSigned, KEY, PROGRAMMES, STRANGERS_KEY, until } from './signed';

const FILE = {
  format: 1,
  audience: 'public',
  programme: { number: 3, pinned: 'The boiler is next.', schedule: ['The bow', 'The stern'], next_dive_in_s: 10_800, next_dive: 2 },
  questions_to: 'https://questions.example/',
};
const bytes = (value: unknown): Uint8Array => new TextEncoder().encode(JSON.stringify(value));
const TOLD: Programme = { pinned: 'The boiler is next.', schedule: ['The bow', 'The stern'], left_s: 10_800, dive: 2, questions: 'https://questions.example/' };

describe('the programme', () => {
  test('is read from the file, and every value of another kind is no value, or no programme', () => {
    expect(programmeOf(bytes(FILE))).toEqual(TOLD);
    expect(programmeOf(bytes({ ...FILE, programme: null, questions_to: null }))).toEqual({ pinned: null, schedule: [], left_s: null, dive: 0, questions: null });
    const altered = (change: object) => programmeOf(bytes({ ...FILE, programme: { ...FILE.programme, ...change } }));
    expect([altered({ pinned: 3 })?.pinned, altered({ next_dive_in_s: -1 })?.left_s, altered({ next_dive_in_s: 1.5 })?.left_s]).toEqual([null, null, null]);
    expect([altered({ schedule: 'bow' }), altered({ schedule: [1] }), altered({ next_dive: null }), altered({ schedule: Array(51).fill('x') })]).toEqual([null, null, null, null]);
    expect([programmeOf(bytes({ ...FILE, format: 2 })), programmeOf(bytes(null)), programmeOf(new Uint8Array([255]))]).toEqual([null, null, null]);
  });

  test.each(['javascript:alert(1)', 'http://questions.example/', 'data:text/html,x', ' https://questions.example/'])('never leads to %s', (address) => {
    expect(programmeOf(bytes({ ...FILE, questions_to: address }))?.questions).toBeNull();
  });

  test('is asked for once a minute, told when it differs, and not counted down while nobody can say how old it is', async () => {
    const ports = new FakePorts();
    const path = programmePath('funders');
    expect([path, programmePath(null)]).toEqual(['recordings/funders/programme.json', 'programme.json']);
    ports.json(path, FILE);
    const told: (Programme | 'altered')[] = [];
    const due = { is: true };
    watchProgramme(ports, path, () => due.is, (programme) => told.push(programme));
    await settled();
    await ports.pass(60);
    expect([told, ports.asked.length]).toEqual([[TOLD], 2]);
    due.is = false;
    await ports.pass(60);
    expect(told.at(-1)).toEqual({ ...TOLD, left_s: null });
    due.is = true;
    await ports.pass(60);
    expect(told.at(-1)).toEqual(TOLD);
    ports.json(path, { ...FILE, programme: null });
    await ports.pass(60);
    expect([told.at(-1), told.length]).toEqual([expect.objectContaining({ pinned: null }), 4]);
  });
});

describe('the check of a programme', () => {
  const base64 = (octets: Uint8Array): string => btoa(String.fromCharCode(...octets));
  const [third, fourth] = PROGRAMMES as [Uint8Array, Uint8Array];
  const file = (record: Uint8Array | null, change: object = {}) => bytes({ ...FILE, programme: { ...FILE.programme, ...change }, record: record && base64(record) });
  const checked = (trust: { linked: string | null; kept: string | null }, audience: string | null = 'public', engine: SubtleCrypto | null = crypto.subtle) => {
    const check = programmeCheck({ engine, trust: { linked: trust.linked, kept: () => trust.kept, keep: () => {} } }, () => audience);
    return (of: Uint8Array) => check(of, programmeOf(of) as Programme);
  };
  const known = { linked: null, kept: KEY };

  test('passes what the ship signed, and refuses what she didn’t, or what says something else than she did', async () => {
    const check = checked(known);
    expect(await check(file(third))).toBe(true);
    expect(await check(file(third, { next_dive_in_s: null }))).toBe(true);
    for (const change of [{ pinned: 'The harbour is next.' }, { schedule: ['The bow'] }, { next_dive: 3 }, { next_dive_in_s: 60 }]) expect(await check(file(third, change))).toBe(false);
    for (const record of [null, illSigned(third), new Uint8Array(3), DIVE[1] as Uint8Array]) expect(await check(file(record))).toBe(false);
  });

  test.each([['!!not base64!!'], ['a'], [7], [{}], [['a']], [''], [null], [undefined]])('refuses what has no record that can be read: %j', async (record) => {
    const told = { pinned: 'The harbour is next.', schedule: [], next_dive_in_s: null, next_dive: 2 };
    for (const programme of [told, { ...told, pinned: null, schedule: ['The bow'] }, { ...told, pinned: null, next_dive_in_s: 60 }]) {
      expect(await checked(known)(bytes({ ...FILE, programme, record }))).toBe(false);
    }
  });

  test('refuses one that was told before the last', async () => {
    const check = checked(known);
    expect([await check(file(third)), await check(file(fourth)), await check(file(fourth)), await check(file(third))]).toEqual([true, true, true, false]);
  });

  test('goes by the key in the link before the one kept, and by the audience', async () => {
    expect(await checked({ linked: KEY, kept: STRANGERS_KEY })(file(third))).toBe(true);
    expect(await checked({ linked: STRANGERS_KEY, kept: KEY })(file(third))).toBe(false);
    expect(await checked(known, 'funders')(file(third))).toBe(false);
  });

  test('lets pass what can’t be checked, and a file in which nothing was told', async () => {
    const bare = file(null);
    expect(await checked({ linked: null, kept: null })(bare)).toBe(true);
    expect(await checked(known, null)(bare)).toBe(true);
    expect(await checked(known, 'public', null)(bare)).toBe(true);
    expect(await checked(known)(bytes({ ...FILE, programme: null, record: null }))).toBe(true);
  });

  test('is made before anything is told', async () => {
    const ports = new FakePorts();
    ports.files.set('programme.json', file(illSigned(third)).slice());
    const told: (Programme | 'altered')[] = [];
    const check = programmeCheck({ engine: crypto.subtle, trust: { linked: KEY, kept: () => null, keep: () => {} } }, () => 'public');
    watchProgramme(ports, 'programme.json', () => true, (programme) => told.push(programme), check);
    await until(() => told.length > 0);
    ports.files.set('programme.json', file(fourth).slice());
    await ports.pass(60);
    await until(() => told.length > 1);
    expect(told).toEqual(['altered', TOLD]);
  });
});

describe('the next dive', () => {
  const shown = (programme: Programme | null, newest = 1, is: 'connected' | 'recordings only' | 'connecting' = 'connected') =>
    nextDive({ programme, dives: [{ dive: newest, closed: true, records: 1, recording: 'a' }], connection: { is } as Connection } as unknown as State);
  const about = (left_s: number | null) => shown({ ...TOLD, left_s });

  test('is told as coarsely as the ship tells it, in both languages', () => {
    expect([10_800, 2_400, 4_800, 172_800, 0, null].map(about)).toEqual([
      'Next dive in about 3\u00a0h.', 'Next dive in about 40\u00a0min.', 'Next dive in about 1\u00a0h\u00a020\u00a0min.', 'Next dive in about 2 days.', 'Next dive soon.', null,
    ]);
    speak('de');
    expect([10_800, 172_800, 0].map(about)).toEqual(['Nächster Tauchgang in etwa 3\u00a0h.', 'Nächster Tauchgang in etwa 2 Tagen.', 'Nächster Tauchgang bald.']);
    speak('en');
  });

  test('is not told once it has begun here, nor where nobody knows how old that is', () => {
    expect([shown(TOLD, 2), shown(TOLD, 3), shown(TOLD, 1, 'recordings only'), shown(TOLD, 1, 'connecting'), shown(null)]).toEqual([null, null, null, null, null]);
  });
});
