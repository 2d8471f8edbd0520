/** Day or night: chosen here, or as the computer is set. Pure. */

export type Look = 'auto' | 'day' | 'night';

export const isLook = (name: string | null): name is Look => name === 'auto' || name === 'day' || name === 'night';

/** Return the look that is drawn. */
export const lookDrawn = (look: Look, prefersDark: boolean): 'day' | 'night' => (look === 'auto' ? (prefersDark ? 'night' : 'day') : look);
