import { describe, expect, test } from 'vitest';

const FILES = import.meta.glob<string>('../../desk/src/**/*.ts', { query: '?raw', import: 'default', eager: true });
const ROOMS = Object.entries(FILES).map(([path, text]) => ({ path, text, room: path.replace('../../desk/src/', '').replace('.ts', '') }));
const CATALOGUES = ['words', 'drawn_words', 'ashore_words', 'find_words'];
const code = (text: string): string => text.replace(/\/\*[\s\S]*?\*\//g, '').replace(/^\s*\/\/.*$/gm, '');
const imported = (text: string): string[] => [...text.matchAll(/^(?:import|export)[^'"]*?['"]([^'"]+)['"]/gm)].map((match) => match[1] as string);

describe('the rooms of the desk', () => {
  test('leave the network, timers and what is kept to one of them', () => {
    const world = /\b(?:fetch\(|setTimeout|setInterval|performance\.|Date\.|Math\.random|localStorage|sessionStorage|matchMedia|navigator\.|location\.)/;
    expect(ROOMS.length).toBeGreaterThan(20);
    expect(ROOMS.filter(({ text }) => world.test(code(text))).map(({ room }) => room)).toEqual(['browser']);
  });

  test('leave that one to the page alone: panels and drawings ask by what they are handed', () => {
    expect(ROOMS.filter(({ text }) => imported(text).some((path) => path.endsWith('/browser'))).map(({ room }) => room)).toEqual(['main']);
  });

  test('hold no words of their own: those are in the catalogues', () => {
    const sentence = /(['"`])[A-Z][a-z]+ [a-z]+[^'"`]*\1/;
    expect(ROOMS.filter(({ room, text }) => !CATALOGUES.includes(room) && sentence.test(code(text))).map(({ room }) => room)).toEqual([]);
  });

  test('never put markup together from text', () => {
    expect(ROOMS.filter(({ text }) => /innerHTML|outerHTML|insertAdjacentHTML|document\.write/.test(code(text))).map(({ room }) => room)).toEqual([]);
  });

  test('use every word of the catalogue', async () => {
    const { words } = await import('../../desk/src/words');
    const config = Object.values(import.meta.glob<string>('../../vite.desk.config.ts', { query: '?raw', import: 'default', eager: true })).join('');
    const all = ROOMS.filter(({ room }) => room !== 'words' && room !== 'ashore_words').map(({ text }) => text).join('\n') + config;
    const unused = Object.entries(words).flatMap(([group, of]) => Object.keys(of).filter((key) => !new RegExp(`\\b${key}\\b`).test(all)).map((key) => `${group}.${key}`));
    expect(unused).toEqual([]);
  });
});
