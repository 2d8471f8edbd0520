/**
 * What runs first: wait until what came with the page is painted, then start the page's script.
 *
 * Rules: it holds nothing but the wait; the page's script is fetched meanwhile, by a link in the page's head. Reading a script and making sense of a long dive
 * keep a slow phone busy, and the words and the picture that came meanwhile would not be seen.
 */

/** How long a picture is waited for, in milliseconds: a slow line must not keep the dive back. */
const PICTURE_MOST_MS = 1_500;

async function painted(picture: HTMLImageElement): Promise<void> {
  await picture.decode().catch(() => {});
  await new Promise<void>((done) => requestAnimationFrame(() => setTimeout(done)));
}

async function start(): Promise<void> {
  const tooLong = new Promise<void>((done) => setTimeout(done, PICTURE_MOST_MS));
  const picture = document.querySelector<HTMLImageElement>('#first img');
  if (picture !== null) await Promise.race([painted(picture), tooLong]);
  const script = document.querySelector<HTMLLinkElement>('link[rel=modulepreload]');
  if (script !== null) await import(/* @vite-ignore */ script.href);
}

void start();

export {};
