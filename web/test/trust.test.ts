import { expect, test } from 'vitest';
import { brieflyTrusting, proofOf } from '../src/trust';

const [A, B] = ['a'.repeat(64), 'b'.repeat(64)];
const judged = (named: string | null, linked: string | null, kept: string | null) => {
  const proof = proofOf(named, { linked, kept: () => kept });
  return proof.is === 'checking' ? proof.basis : proof.is === 'unsigned' ? (proof.known ? 'stripped' : 'unsigned') : proof.is;
};

test('a key in the link outranks the one kept, and that outranks the dive’s own', () => {
  expect([judged(A, A, null), judged(A, A, B), judged(A, null, A), judged(A, null, null)]).toEqual(['link', 'link', 'kept', 'first']);
});

test('a dive of another key than the link’s is not shown, with signatures or without; another than the kept one’s is told', () => {
  expect([judged(B, A, null), judged(B, A, B), judged(null, A, null), judged(B, null, A)]).toEqual(['altered', 'altered', 'altered', 'changed']);
});

test('a dive without signatures is one thing where none are known, another where there were some', () => {
  expect([judged(null, null, null), judged(null, null, A)]).toEqual(['unsigned', 'stripped']);
});

test('what is trusted briefly is trusted as long as the page is open', () => {
  const trust = brieflyTrusting(null);
  expect(trust.kept()).toBeNull();
  trust.keep(A);
  expect(trust.kept()).toBe(A);
});
