/** What the ship answers to a decision, read and said. Pure. */

import { span } from './figures';
import type { Decision } from './forms';
import { words } from './words';

export interface Finding {
  readonly why: string;
  readonly start: number;
  readonly end: number;
}

export type Answer =
  | { readonly kind: 'taken'; readonly value: Readonly<Record<string, unknown>> }
  | { readonly kind: 'asked'; readonly code: string; readonly question: string }
  | { readonly kind: 'refused'; readonly why: string }
  | { readonly kind: 'barred' }
  | { readonly kind: 'unheard' };

interface Answered {
  readonly status: number;
  readonly value: unknown;
}

const record = (value: unknown): Readonly<Record<string, unknown>> =>
  typeof value === 'object' && value !== null && !Array.isArray(value) ? (value as Readonly<Record<string, unknown>>) : {};

/** Read what a decision was answered with; null where there was no answer. */
export function readAnswer(answered: Answered | null): Answer {
  if (answered === null) return { kind: 'unheard' };
  if (answered.status === 401 || answered.status === 403) return { kind: 'barred' };
  const value = record(answered.value);
  if (value.ok === true && typeof value.confirm === 'string') return { kind: 'asked', code: value.confirm, question: String(value.question) };
  if (value.ok === true) return { kind: 'taken', value };
  return { kind: 'refused', why: typeof value.why === 'string' ? value.why : String(answered.status) };
}

/** Read what was found in a text; null where that isn't known. */
export function readFindings(answered: Answered | null): readonly Finding[] | null {
  const found = record(answered?.value).findings;
  if (answered?.status !== 200 || !Array.isArray(found)) return null;
  return found.map(record).map(({ why, start, end }) => ({ why: String(why), start: Number(start), end: Number(end) }));
}

/** Say what became of a decision. */
export function sayAnswer(decision: Decision, answer: Answer): string {
  if (answer.kind === 'unheard' || answer.kind === 'barred') return words.answer[answer.kind];
  if (answer.kind === 'refused') return words.answer.refused(answer.why);
  if (answer.kind === 'asked') return answer.question;
  const done = words.answer.done[decision.do === 'say' && decision.wait === true ? 'kept' : decision.do] ?? '';
  const value = answer.value;
  const told = decision.do === 'early' ? earlyOf(value) : [done];
  return [...told, ...(alsoOf[decision.do]?.(value) ?? []), ...but(value)].join(' ');
}

type Value = Readonly<Record<string, unknown>>;

const namesIn = (value: unknown): string[] => (Array.isArray(value) ? value.filter((name) => typeof name === 'string') : []);

/** What the ship says of a decision beside that it took it, in the words of the command line (relay/shell/desk/tell_words.py). */
const alsoOf: Readonly<Record<string, (value: Value) => readonly string[]>> = {
  cut: alreadyOut,
  zone: ({ hidden_from: others, exact_to: exact }) => [
    ...(Array.isArray(others) ? [words.answer.hiddenFrom(namesIn(others))] : []),
    ...(namesIn(exact).length > 0 ? [words.answer.exactTo(namesIn(exact))] : []),
  ],
  unzone: ({ lifted_for: names }) => (namesIn(names).length > 0 ? [words.answer.liftedFor(namesIn(names))] : []),
  programme: ({ told_as: told }) => Object.entries(record(told)).map(([audience, left_s]) => words.answer.toldAs(audience, leftIn(left_s))),
  target: ({ place }) => (record(place).first_order === false ? [words.answer.tooSmall] : []),
};

const leftIn = (left_s: unknown): string | null => (typeof left_s !== 'number' ? null : left_s === 0 ? '' : span(left_s));

function earlyOf({ held, already_out: out }: Value): readonly string[] {
  if (out === true) return [words.answer.earlyOut];
  return [held === true ? words.answer.earlyHeld : (words.answer.done.early ?? '')];
}

/** The ship's own words of an audience to whom nothing had gone. */
const NONE_OUT = 'none of it';

function alreadyOut({ already_out: out }: Readonly<Record<string, unknown>>): string[] {
  const had = Object.entries(record(out)).filter(([, much]) => much !== NONE_OUT);
  return had.map(([audience, much]) => words.answer.alreadyOut(audience, String(much)));
}

const but = (value: Readonly<Record<string, unknown>>): string[] => (typeof value.but === 'string' ? [words.answer.but(value.but)] : []);

/** Cut a text into what was found in it and the rest; findings that overlap become one. Their ends count code points. */
export function marked(text: string, findings: readonly Finding[]): readonly { readonly text: string; readonly found: boolean }[] {
  const points = Array.from(text);
  const between = (from: number, to: number): string => points.slice(from, to).join('');
  const parts: { text: string; found: boolean }[] = [];
  let at = 0;
  for (const { start, end } of [...findings].sort((one, other) => one.start - other.start)) {
    const from = Math.max(at, start);
    if (from > at) parts.push({ text: between(at, from), found: false });
    if (end > from) parts.push({ text: between(from, end), found: true });
    at = Math.max(at, end);
  }
  if (at < points.length) parts.push({ text: between(at, points.length), found: false });
  return parts;
}
