/**
 * Time spans of the desk in words.
 *
 * Rules: pure; a lateness is said as the followers' page says it; an interval that somebody is about to cut is said to
 * the second, however long.
 */

import { span } from '../../src/format';
import { drawn } from './drawn_words';

const NBSP = '\u00a0';
export const US = 1_000_000;

/** Say a span to the second: "40 s", "12 min 5 s", "1 h 0 min 30 s". */
export function exactly(span_us: number): string {
  const whole_s = Math.max(0, Math.round(span_us / US));
  const minutes = Math.floor(whole_s / 60);
  const rest_s = whole_s % 60;
  if (minutes === 0) return span(whole_s);
  return rest_s === 0 ? span(whole_s) : `${minutes < 60 ? span(60 * minutes) : hours(minutes)} ${span(rest_s)}`;
}

function hours(minutes: number): string {
  const whole = span(3_600 * Math.floor(minutes / 60));
  return `${whole} ${minutes % 60}${NBSP}min`;
}

/** Say how long before now a moment was. */
export function ago(at_us: number, now_us: number): string {
  return now_us - at_us < US / 2 ? drawn.ribbon.now : drawn.ribbon.ago(exactly(now_us - at_us));
}

/** Say how late an audience is. */
export function late(lag_s: number): string {
  return lag_s < 1 ? drawn.ribbon.prompt : drawn.ribbon.late(span(lag_s));
}
