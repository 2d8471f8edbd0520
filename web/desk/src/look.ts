/** Day or night: as chosen, and until then as the computer is set. Pure. */

export type Look = 'day' | 'night';

export const isLook = (name: string | null): name is Look => name === 'day' || name === 'night';

/** Return the look that is drawn. */
export const lookDrawn = (chosen: Look | null, prefersDark: boolean): Look => chosen ?? (prefersDark ? 'night' : 'day');
