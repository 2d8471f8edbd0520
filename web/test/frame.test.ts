import { describe, expect, test } from 'vitest';
import { BUDGET_MS, Frame } from '../src/frame';
import type { State } from '../src/state';

function framed(step: () => { raise: number; more: boolean } = () => ({ raise: 0, more: false })) {
  const due: ((now_ms: number) => void)[] = [];
  const drawn: string[] = [];
  const view = (name: string) => ({ draw: () => drawn.push(name), destroy: () => {} });
  const frame = new Frame((run) => due.push(run), step, () => ({}) as State, [
    { view: view('one'), upon: 1 },
    { view: view('both'), upon: 3 },
    { view: view('none'), upon: 0 },
  ]);
  return { frame, due, drawn, run: () => due.shift()?.(0) };
}

describe('the frame', () => {
  test('draws each view once, however often and whatever was raised', () => {
    const { frame, due, drawn, run } = framed();
    frame.raise(1);
    frame.raise(2);
    frame.raise(1);
    expect(due.length).toBe(1);
    run();
    expect(drawn).toEqual(['one', 'both']);
  });

  test('draws only what is dirty, and nothing twice', () => {
    const { frame, drawn, run } = framed();
    frame.raise(2);
    run();
    frame.raise(0);
    run();
    expect(drawn).toEqual(['both']);
  });

  test('asks for no frame while nothing changes, and for the next one while something plays', () => {
    let left = 2;
    const { frame, due, drawn, run } = framed(() => ({ raise: 1, more: (left -= 1) > 0 }));
    expect(due.length).toBe(0);
    frame.raise(0);
    run();
    expect(due.length).toBe(1);
    run();
    expect([due.length, drawn.length]).toEqual([0, 4]);
  });

  test('lets views wait for the next frame once one has taken its time, and forgets none', () => {
    let time_ms = 0;
    const due: ((now_ms: number) => void)[] = [];
    const drawn: string[] = [];
    const view = (name: string) => ({ draw: () => (drawn.push(name), (time_ms += 0.6 * BUDGET_MS)), destroy: () => {} });
    const views = ['a', 'b', 'c', 'd'].map((name) => ({ view: view(name), upon: 1 }));
    const frame = new Frame((run) => due.push(run), () => ({ raise: 0, more: false }), () => ({}) as State, views, () => time_ms);
    frame.raise(1);
    due.shift()?.(0);
    expect(drawn).toEqual(['a', 'b']);
    frame.raise(1);
    expect(due.length).toBe(1);
    due.shift()?.(0);
    expect(drawn).toEqual(['a', 'b', 'c', 'd']);
    while (due.length > 0) due.shift()?.(0);
    expect(drawn).toEqual(['a', 'b', 'c', 'd', 'a', 'b']);
  });

  test('draws in the frame in which they are raised what is prompt, however long the others take', () => {
    let time_ms = 0;
    const due: ((now_ms: number) => void)[] = [];
    const drawn: string[] = [];
    const view = (name: string, ms: number) => ({ draw: () => (drawn.push(name), (time_ms += ms)), destroy: () => {} });
    const views = [{ view: view('slow', 20), upon: 1 }, { view: view('words', 1), upon: 1 }, { view: view('mark', 1), upon: 1, prompt: true }];
    const frame = new Frame((run) => due.push(run), () => ({ raise: 0, more: false }), () => ({}) as State, views, () => time_ms);
    frame.raise(1);
    due.shift()?.(0);
    expect(drawn.splice(0)).toEqual(['mark', 'slow']);
    frame.raise(1);
    due.shift()?.(0);
    expect(drawn.splice(0)).toEqual(['mark', 'words']);
    frame.raise(1);
    due.shift()?.(0);
    expect(drawn.splice(0)).toEqual(['mark', 'slow']);
    while (due.length > 0) due.shift()?.(0);
    expect(drawn).toEqual(['words']);
  });
});
