/**
 * Reading JSON whose shape was agreed: each field is looked at, and what is wrong is said with its place.
 *
 * Rules: pure; a field that is missing, or of another kind than agreed, stops the reading; fields nobody agreed on are
 * passed over, so that a newer ship can be watched with an older page.
 */

/** What was read isn't what was agreed; the message says where, what was expected, and what was found. */
export class Misread extends Error {
  constructor(at: string, expected: string, found: unknown) {
    super(`${at}: ${expected} was expected, found ${said(found)}`);
    this.name = 'Misread';
  }
}

/** Return what `value`, found at `at`, is; raise Misread where it is something else. */
export type Reader<T> = (value: unknown, at: string) => T;
export type Read<R> = R extends Reader<infer T> ? T : never;

function said(found: unknown): string {
  if (found === undefined) return 'nothing';
  if (found === null) return 'null';
  if (Array.isArray(found)) return `a list of ${found.length}`;
  if (typeof found === 'object') return 'an object';
  return typeof found === 'string' ? `the text ${JSON.stringify(found.slice(0, 40))}` : String(found);
}

export const num: Reader<number> = (value, at) => {
  if (typeof value !== 'number' || !Number.isFinite(value)) throw new Misread(at, 'a number', value);
  return value;
};

/** A whole number that a double holds exactly: counts, rows of the journal, microseconds. */
export const whole: Reader<number> = (value, at) => {
  if (typeof value !== 'number' || !Number.isSafeInteger(value)) throw new Misread(at, 'a whole number', value);
  return value;
};

export const text: Reader<string> = (value, at) => {
  if (typeof value !== 'string') throw new Misread(at, 'a text', value);
  return value;
};

export const flag: Reader<boolean> = (value, at) => {
  if (typeof value !== 'boolean') throw new Misread(at, 'true or false', value);
  return value;
};

export function orNull<T>(reader: Reader<T>): Reader<T | null> {
  return (value, at) => (value === null ? null : reader(value, at));
}

/** A field that an older ship doesn't tell. */
export function perhaps<T>(reader: Reader<T>): Reader<T | undefined> {
  return (value, at) => (value === undefined ? undefined : reader(value, at));
}

export function oneOf<const T extends string>(...words: readonly T[]): Reader<T> {
  return (value, at) => {
    const found = words.find((word) => word === value);
    if (found === undefined) throw new Misread(at, `one of ${words.join(', ')}`, value);
    return found;
  };
}

export function list<T>(reader: Reader<T>): Reader<readonly T[]> {
  return (value, at) => {
    if (!Array.isArray(value)) throw new Misread(at, 'a list', value);
    return value.map((one: unknown, i) => reader(one, `${at}[${i}]`));
  };
}

type Tuple = readonly Reader<unknown>[];

/** A list of one length, each of its places with its own meaning. */
export function row<const R extends Tuple>(...readers: R): Reader<{ readonly [K in keyof R]: Read<R[K]> }> {
  return (value, at) => {
    if (!Array.isArray(value) || value.length !== readers.length) throw new Misread(at, `a list of ${readers.length}`, value);
    return readers.map((reader, i) => reader(value[i], `${at}[${i}]`)) as { readonly [K in keyof R]: Read<R[K]> };
  };
}

function fieldsOf(value: unknown, at: string): Readonly<Record<string, unknown>> {
  if (typeof value !== 'object' || value === null || Array.isArray(value)) throw new Misread(at, 'an object', value);
  return value as Readonly<Record<string, unknown>>;
}

/** An object of named values of one kind. */
export function named<T>(reader: Reader<T>): Reader<Readonly<Record<string, T>>> {
  return (value, at) => {
    const found = Object.entries(fieldsOf(value, at)).map(([name, one]) => [name, reader(one, `${at}.${name}`)] as const);
    return Object.fromEntries(found);
  };
}

/** An object with the fields agreed. */
export function fields<R extends Readonly<Record<string, Reader<unknown>>>>(readers: R): Reader<{ readonly [K in keyof R]: Read<R[K]> }> {
  const agreed = Object.entries(readers);
  return (value, at) => {
    const given = fieldsOf(value, at);
    const own = (name: string): unknown => (Object.hasOwn(given, name) ? given[name] : undefined);
    return Object.fromEntries(agreed.map(([name, reader]) => [name, reader(own(name), `${at}.${name}`)])) as { readonly [K in keyof R]: Read<R[K]> };
  };
}
