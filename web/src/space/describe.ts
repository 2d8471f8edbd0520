/**
 * What the drawing in three dimensions shows, in words, and why it shows less.
 *
 * Rules: pure; whatever is left out or coarse is said to be; the seabed is called a sketch of released depths.
 */

import { about, trackMissing } from '../describe';
import * as format from '../format';
import type { State } from '../state';
import type { Dive } from '../store';
import { words } from '../words';
import { sideOf, type Turn } from './camera';
import type { Frame3 } from './frame3';

/** Why there is nothing to draw up to tick `at`; null where there is something. */
export function spaceMissing(dive: Dive, at: number, frame: Frame3 | null): string | null {
  const say = words.space;
  const noTrack = trackMissing(dive, at);
  if (noTrack !== null) return noTrack;
  if (!dive.header.fields.has('depth')) return say.noDepth;
  if (frame === null || !hasDepth(dive, at)) return say.noDepthYet;
  return null;
}

function hasDepth({ tracks }: Dive, at: number): boolean {
  return tracks.some(({ east_m, depth_m }) => {
    for (let i = 0; i <= at; i += 1) if (!Number.isNaN(east_m[i]) && !Number.isNaN(depth_m[i])) return true;
    return false;
  });
}

/** What has to be known to read the drawing: the seabed, the heights, the grid. */
export function spaceCaption({ header }: Dive, frame: Frame3, cells: number, grid_m: number): string {
  const say = words.space;
  const step = header.depth_step_m === null ? null : format.depth(header.depth_step_m, header.depth_step_m);
  return [
    seabed(header.fields.has('leg'), cells, format.length(frame.side_m, frame.side_m)),
    header.isDepthRelative ? say.relative : '',
    cells > 0 && step !== null ? say.coarse(step) : '',
    frame.exaggeration === 1 ? say.trueHeights : say.exaggerated(format.number(frame.exaggeration)),
    say.grid(format.exactLength(grid_m)),
  ].filter(Boolean).join(' ');
}

function seabed(isLegTold: boolean, cells: number, side: string): string {
  const say = words.space;
  if (!isLegTold) return say.noLeg;
  return cells > 0 ? say.seabed(side) : say.noSeabedYet;
}

/** The label of the drawing. */
export function spaceLabel({ dive, at }: State, turn: Turn, frame: Frame3 | null, cells: number): string {
  const say = words.space;
  if (!dive) return '';
  const missing = spaceMissing(dive, at, frame);
  if (missing !== null || frame === null) return say.labelEmpty(missing ?? say.noDepthYet);
  const where = dive.tracks.map((track) => {
    const depth_m = track.depth_m[at] ?? NaN;
    return Number.isNaN(depth_m) || Number.isNaN(track.east_m[at] ?? NaN) ? say.whereUnknown(track.name) : say.where(track.name, about(dive, depth_m));
  });
  const ground = cells > 0 ? say.squares(format.number(cells)) : say.noSquares;
  return say.label(say.from[sideOf(turn)], format.angle(Math.round(turn.elevation_deg)), where.join(' '), ground);
}
