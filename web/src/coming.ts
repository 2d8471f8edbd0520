/** What is to come, on the page and from the site: no first words, so it is fetched after them. */

export { programmeCheck, programmePath, watchProgramme } from './programmeFile';
export { create } from './views/programme';
