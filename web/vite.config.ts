import { defineConfig, type Plugin } from 'vite';
import { en as words } from './src/words/en.ts';

/** Fill the few words of index.html from the English catalogue; the script says them in the language chosen. */
const wordsInPage: Plugin = {
  name: 'words-in-page',
  transformIndexHtml: (html) =>
    html
      .replaceAll('%language%', words.language)
      .replaceAll('%title%', words.page.title)
      .replaceAll('%summary%', words.page.summary)
      .replaceAll('%skip%', words.page.skip)
      .replaceAll('%noscript%', words.page.noscript),
};

export default defineConfig({
  base: './',
  plugins: [wordsInPage],
  build: {
    target: 'es2022',
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    reportCompressedSize: true,
    // The drawing in three dimensions is fetched only when asked for; its library is most of it.
    chunkSizeWarningLimit: 600,
  },
  test: { environment: 'node', include: ['test/**/*.test.ts'] },
} as Parameters<typeof defineConfig>[0]);
