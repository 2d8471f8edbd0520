import { defineConfig, type Plugin } from 'vite';
import { words } from './desk/src/words.ts';

const { page, alarms, door, drawings } = words;
const PUT: Readonly<Record<string, string>> = {
  title: page.title,
  skip: page.skip,
  noscript: page.noscript,
  private: page.private,
  caution: page.caution,
  alarms: alarms.title,
  door: door.title,
  rail: page.regions.rail,
  side: drawings.table,
  tell: page.regions.tell,
};

/** Fill the few words of the desk's index.html from its catalogue. */
const wordsInPage: Plugin = {
  name: 'words-in-page',
  transformIndexHtml: (html) => Object.entries(PUT).reduce((text, [name, word]) => text.replaceAll(`%${name}%`, word), html),
};

/** The desk's page: a page of its own, built beside the followers', which the public port never serves. */
export default defineConfig({
  root: 'desk',
  base: './',
  publicDir: false,
  plugins: [wordsInPage],
  build: {
    target: 'es2022',
    outDir: '../dist-desk',
    emptyOutDir: true,
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
  },
});
