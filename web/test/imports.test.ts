import { describe, expect, test } from 'vitest';
import { words } from '../src/words';

/** What each room of the page may import; a new room without a row fails. Views share one row. */
const TABLE: Readonly<Record<string, readonly string[]>> = {
  'words/en_proof': [],
  'words/de_proof': ['words/shape'],
  'words/en': [],
  'words/shape': ['words/en', 'words/en_proof'],
  'words/de': ['words/shape'],
  words: ['words/de', 'words/de_proof', 'words/en', 'words/en_proof', 'words/shape'],
  'words/invited': ['words'],
  units: [],
  format: ['units', 'words'],
  scale: [],
  seats: [],
  decimate: [],
  backoff: [],
  extent: [],
  announce: [],
  playhead: [],
  jpeg: [],
  decode: ['extent', 'jpeg'],
  pictures: ['decode'],
  seal: ['decode', 'extent'],
  trust: [],
  witness: ['decode', 'seal', 'transport', 'trust'],
  invitation: [],
  moment: ['seal'],
  keys: ['playhead', 'state'],
  store: ['decode', 'scale'],
  chapters: ['decode', 'store'],
  swath: ['pace', 'store'],
  visits: ['decimate', 'store'],
  poll: ['transport'],
  followers: ['poll', 'transport'],
  programme: ['decode'],
  programmeFile: ['poll', 'programme', 'seal', 'transport', 'witness'],
  pace: ['playhead', 'store'],
  state: ['decode', 'invitation', 'playhead', 'programme', 'store', 'trust'],
  describe: ['chapters', 'decode', 'format', 'pace', 'scale', 'state', 'store', 'swath', 'units', 'words'],
  describeProof: ['format', 'state', 'trust', 'words'],
  transport: ['backoff', 'state'],
  reading: ['decode', 'transport'],
  embedded: ['decode', 'transport'],
  source: ['backoff', 'decode', 'invitation', 'reading', 'state', 'transport', 'trust', 'witness'],
  page: ['chapters', 'decode', 'invitation', 'moment', 'playhead', 'programme', 'source', 'state', 'store', 'trust'],
  frame: ['state'],
  browser: ['transport'],
  dom: ['format'],
  enlarged: ['decode', 'dom', 'words'],
  paint: ['format', 'scale'],
  sheet: ['dom', 'paint'],
  moving: ['dom', 'sheet'],
  kept: ['paint'],
  course: ['kept', 'paint', 'playhead', 'scale', 'store', 'swath', 'visits'],
  'space/camera': [],
  'space/frame3': ['space/camera', 'store'],
  'space/seabed': ['space/camera', 'space/frame3', 'store'],
  'space/track': ['space/camera', 'space/frame3', 'space/seabed', 'store'],
  'space/describe': ['describe', 'format', 'space/camera', 'space/frame3', 'state', 'store', 'words'],
  'space/ink': ['space/camera', 'space/seabed'],
  'space/turning': ['space/camera'],
  'space/scene': ['dom', 'format', 'paint', 'scale', 'seats', 'sheet', 'space/camera', 'space/describe', 'space/frame3', 'space/ink', 'space/seabed', 'space/track', 'space/turning', 'state', 'store', 'units', 'words'],
  'views/*': ['announce', 'chapters', 'course', 'decimate', 'decode', 'describe', 'describeProof', 'dom', 'embedded', 'enlarged', 'format', 'keys', 'moment', 'moving', 'paint', 'pictures', 'playhead', 'scale', 'seats', 'sheet', 'state', 'store', 'units', 'words', 'words/invited'],
  coming: ['programmeFile', 'views/*'],
  start: [],
  main: ['browser', 'embedded', 'followers', 'frame', 'invitation', 'moment', 'page', 'seal', 'sheet', 'source', 'state', 'trust', 'units', 'views/*', 'words'],
};

const FILES = import.meta.glob<string>('../src/**/*.ts', { query: '?raw', import: 'default', eager: true });
const ROOMS = Object.entries(FILES).map(([path, text]) => ({ path, text, room: path.replace('../src/', '').replace('.ts', '') }));
const isCatalogue = (room: string): boolean => room === 'words' || room.startsWith('words/');
const rowOf = (room: string): string => (room.startsWith('views/') ? 'views/*' : room);

function imported(room: string, text: string): string[] {
  const found = [...text.matchAll(/^(?:import|export)[^'"]*?['"](\.{1,2}\/[^'"]+)['"]/gm)].map((match) => match[1] as string);
  return found.map((path) => new URL(path, `file:///${room}`).pathname.slice(1));
}

describe('imports', () => {
  test('are those of the table, for every room, and every room has a row', () => {
    expect(ROOMS.length).toBeGreaterThan(25);
    for (const { room, text } of ROOMS) {
      const allowed = TABLE[rowOf(room)];
      expect(allowed, `${room} has no row`).toBeDefined();
      for (const other of imported(room, text)) expect(allowed, `${room} imports ${other}`).toContain(rowOf(other));
    }
  });

  test('of the table never run in a circle', () => {
    const above = (room: string, seen: readonly string[]): void => {
      expect(seen).not.toContain(room);
      for (const other of TABLE[room] ?? []) above(other, [...seen, room]);
    };
    above('main', []);
  });

  test('of the network, timers, clock and chance of the browser are in one room, but for the wait before the script', () => {
    const world = /\b(?:fetch\(|new WebSocket|setTimeout|setInterval|performance\.|Date\.|Math\.random|localStorage|navigator\.)/;
    expect(ROOMS.filter(({ text }) => world.test(text)).map(({ room }) => room)).toEqual(['browser', 'start']);
  });
});

describe('words', () => {
  test('are in the catalogue alone: no other room holds a sentence', () => {
    const sentence = /(['"`])[A-Z][a-z]+ [a-z]+[^'"`]*\1/;
    const code = (text: string) => text.replace(/\/\*[\s\S]*?\*\//g, '').replace(/\/\/.*$/gm, '');
    expect(ROOMS.filter(({ room, text }) => !isCatalogue(room) && sentence.test(code(text))).map(({ room }) => room)).toEqual([]);
  });

  test('of the catalogue are all used', () => {
    const all = ROOMS.filter(({ room }) => !isCatalogue(room)).map(({ text }) => text).join('\n') + JSON.stringify(import.meta.glob('../vite.config.ts', { query: '?raw', import: 'default', eager: true }));
    const unused = Object.values(words).flatMap((group) => (typeof group === 'object' ? Object.keys(group) : [])).filter((key) => !new RegExp(`\\b${key}\\b`).test(all));
    expect(unused).toEqual([]);
  });
});
