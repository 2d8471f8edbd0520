import { describe, expect, test } from 'vitest';
import { Lines, LONGEST, Overlong } from '../../desk/src/stream';

const bytes = (text: string): Uint8Array => new TextEncoder().encode(text);
const VALUES = [{ text: 'Ärö, 61° 30′ N, 船' }, { empty: '' }, [1, 2, 3], { nested: { line: 'a\nb' } }];
const STREAM = bytes(`${VALUES.map((value) => JSON.stringify(value)).join('\n')}\n`);

function taken(chunks: readonly Uint8Array[]): unknown[] {
  const lines = new Lines();
  return chunks.flatMap((chunk) => lines.push(chunk)).map((line) => JSON.parse(line));
}

describe('a stream of lines', () => {
  test('gives the same values whole, byte by byte, and cut in two anywhere, inside a character too', () => {
    expect(taken([STREAM])).toEqual(VALUES);
    expect(taken([...STREAM].map((byte) => Uint8Array.of(byte)))).toEqual(VALUES);
    for (let at = 0; at <= STREAM.length; at += 1) expect(taken([STREAM.slice(0, at), STREAM.slice(at)])).toEqual(VALUES);
  });

  test('keeps what has no end yet, and passes over empty lines', () => {
    const lines = new Lines();
    expect(lines.push(bytes('\n\r\n{"a":'))).toEqual([]);
    expect(lines.push(bytes('1}\n{"b"'))).toEqual(['{"a":1}']);
    expect(lines.push(bytes(':2}\n'))).toEqual(['{"b":2}']);
  });

  test('is refused once a line is longer than any can be: at the limit it isn’t, one past it it is', () => {
    const lines = new Lines();
    const most = bytes('x'.repeat(LONGEST));
    expect(lines.push(most)).toEqual([]);
    expect(() => lines.push(bytes('x'))).toThrow(Overlong);
  });
});
