/**
 * From where a drawing in three dimensions is seen.
 *
 * Rules: pure; axes are x to the plan's right, y up, z to the plan's foot, in metres; projection is parallel, so that
 * one scale holds all over the drawing; elevation stays above the ground and never tips over.
 */

export type Point = readonly [x: number, y: number, z: number];

export interface Turn {
  /** Where the eye stands, from the foot of the plan, growing to its right side. */
  readonly azimuth_deg: number;
  readonly elevation_deg: number;
  /** 1 shows all. */
  readonly zoom: number;
}

export const START: Turn = { azimuth_deg: 30, elevation_deg: 35, zoom: 1 };
const LOWEST_DEG = 5;
const HIGHEST_DEG = 90;
const MOST_ZOOM = 8;
const STEP_DEG = 10;
const STEP_ZOOM = 1.25;

const within = (value: number, low: number, high: number): number => Math.min(high, Math.max(low, value));

/** Turn by angles; azimuth runs on round the circle. */
export function turned(turn: Turn, azimuth_deg: number, elevation_deg: number): Turn {
  const round = (((turn.azimuth_deg + azimuth_deg) % 360) + 360) % 360;
  return { ...turn, azimuth_deg: round, elevation_deg: within(turn.elevation_deg + elevation_deg, LOWEST_DEG, HIGHEST_DEG) };
}

/** Go nearer by a factor; below 1 goes further away. */
export function nearer(turn: Turn, factor: number): Turn {
  return { ...turn, zoom: within(turn.zoom * factor, 1, MOST_ZOOM) };
}

export type Move = 'left' | 'right' | 'higher' | 'lower' | 'nearer' | 'further' | 'reset';

/** One step of a key or a button. */
export function moved(turn: Turn, move: Move): Turn {
  switch (move) {
    case 'left':
      return turned(turn, -STEP_DEG, 0);
    case 'right':
      return turned(turn, STEP_DEG, 0);
    case 'higher':
      return turned(turn, 0, STEP_DEG);
    case 'lower':
      return turned(turn, 0, -STEP_DEG);
    case 'nearer':
      return nearer(turn, STEP_ZOOM);
    case 'further':
      return nearer(turn, 1 / STEP_ZOOM);
    case 'reset':
      return START;
  }
}

const KEYS: Readonly<Record<string, Move>> = {
  ArrowLeft: 'left',
  ArrowRight: 'right',
  ArrowUp: 'higher',
  ArrowDown: 'lower',
  '+': 'nearer',
  '=': 'nearer',
  '-': 'further',
  Home: 'reset',
};

/** Return what a key asks for, if anything. */
export const moveOf = (key: string): Move | null => KEYS[key] ?? null;

export interface Axes {
  readonly right: Point;
  readonly up: Point;
  /** From what is seen towards the eye. */
  readonly eye: Point;
}

/** The axes of the sheet: right-handed, of length 1, at right angles to each other. */
export function axesOf({ azimuth_deg, elevation_deg }: Turn): Axes {
  const [azimuth, elevation] = [(azimuth_deg * Math.PI) / 180, (elevation_deg * Math.PI) / 180];
  const [sa, ca, se, ce] = [Math.sin(azimuth), Math.cos(azimuth), Math.sin(elevation), Math.cos(elevation)];
  return { right: [ca, 0, -sa], up: [-sa * se, ce, -ca * se], eye: [sa * ce, se, ca * ce] };
}

/** Half of what has to be seen: across on the level, and upwards. */
export interface Reach {
  readonly across: number;
  readonly tall: number;
}

export interface Sight {
  readonly axes: Axes;
  /** What stands in the middle of the sheet. */
  readonly middle: Point;
  readonly pixelsPerMetre: number;
  readonly width: number;
  readonly height: number;
}

/**
 * Fit `reach` about the origin into a sheet with `margin` pixels free all around, whichever way it is turned. Nearer
 * than that, `focus` comes to the middle.
 */
export function sightOf(turn: Turn, reach: Reach, focus: Point, width: number, height: number, margin: number): Sight {
  const elevation = (turn.elevation_deg * Math.PI) / 180;
  const tall = reach.across * Math.sin(elevation) + reach.tall * Math.cos(elevation);
  const fitting = Math.min((width / 2 - margin) / reach.across, (height / 2 - margin) / tall);
  const share = 1 - 1 / turn.zoom;
  const [x, y, z] = focus;
  return {
    axes: axesOf(turn),
    middle: [share * x, share * y, share * z],
    pixelsPerMetre: Math.max(1e-6, fitting * turn.zoom),
    width,
    height,
  };
}

const dot = ([a, b, c]: Point, [d, e, f]: Point): number => a * d + b * e + c * f;

/** Return where a point stands on the sheet, in pixels from its upper left corner. */
export function project({ axes, middle, pixelsPerMetre, width, height }: Sight, [x, y, z]: Point): readonly [number, number] {
  const from: Point = [x - middle[0], y - middle[1], z - middle[2]];
  return [width / 2 + pixelsPerMetre * dot(axes.right, from), height / 2 - pixelsPerMetre * dot(axes.up, from)];
}

export type Side = 'foot' | 'right' | 'top' | 'left';
const SIDES: readonly Side[] = ['foot', 'right', 'top', 'left'];

/** Return the side of the plan that the eye stands on. */
export const sideOf = ({ azimuth_deg }: Turn): Side => SIDES[Math.round(azimuth_deg / 90) % 4] as Side;
