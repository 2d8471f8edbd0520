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

const MAIN = 'src/main.ts';

/** Have the page's script fetched beside the first one, which starts it. */
const fetchedAhead: Plugin = {
  name: 'fetched-ahead',
  transformIndexHtml: {
    order: 'post',
    handler(html, { bundle }) {
      const built = Object.values(bundle ?? {}).find((file) => file.type === 'chunk' && file.facadeModuleId?.endsWith(MAIN));
      const link = `<link rel="modulepreload" fetchpriority="low" crossorigin href="./${built?.fileName ?? MAIN}" />`;
      return html.replace('</head>', `  ${link}\n  </head>`);
    },
  },
};

/** What is fetched on demand is one script each, with nothing to be fetched before it: the bundler's care for that is left out. */
const nothingBefore: Plugin = {
  name: 'nothing-before',
  enforce: 'pre',
  load: (id) => (id.endsWith('vite/preload-helper.js') ? 'export const __vitePreload = (load) => load();' : null),
};

export default defineConfig({
  base: './',
  plugins: [wordsInPage, fetchedAhead, nothingBefore],
  build: {
    target: 'es2022',
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    rollupOptions: { input: { start: 'index.html', main: MAIN } },
    reportCompressedSize: true,
    // The drawing in three dimensions is fetched only when asked for; its library is most of it.
    chunkSizeWarningLimit: 600,
  },
  // One process takes many files: most of the tests' time went into loading the same modules again for each.
  test: { environment: 'node', include: ['test/**/*.test.ts'], isolate: false, testTimeout: 60_000 },
} as Parameters<typeof defineConfig>[0]);
