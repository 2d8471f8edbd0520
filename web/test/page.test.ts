import { describe, expect, test } from 'vitest';
import type { DiveEntry } from '../src/decode';
import { Page } from '../src/page';
import type { Moment } from '../src/moment';
import type { Listener, Source } from '../src/source';
import { isOver, isReplay } from '../src/state';
import { decoded, diveFrames, frame, report, SILENT } from './frames';

const TICKS = Array.from({ length: 5 }, (_, i) => [report(10 * i), SILENT]);
const entry = (dive: number, closed: boolean): DiveEntry => ({ dive, closed, records: 6, recording: `r/${dive}` });

class Played implements Source {
  isStopped = false;
  constructor(readonly listener: Listener) {}
  start(): void {}
  retry(): void {}
  stop(): void {
    this.isStopped = true;
  }
}

function open(asked_: Moment | null = null) {
  const asked: { dive: number; source: Played }[] = [];
  const remembered: (Moment | null)[] = [];
  const page = new Page(
    {
      live: (listener) => new Played(listener),
      recording: ({ dive }, _audience, listener) => {
        const source = new Played(listener);
        asked.push({ dive, source });
        return source;
      },
      raise: () => {},
      remember: (moment) => remembered.push(moment),
      leastStep_s: () => 0,
      invited: () => {},
    },
    asked_,
  );
  const list = (...dives: DiveEntry[]) => page.dives({ expedition: 'The search', audience: 'public', dives });
  const bring = (dive: number, over = false) => {
    const frames = diveFrames(dive, TICKS);
    page.records((over ? [...frames, frame(dive, 6, 3, 60, null)] : frames).map(decoded));
  };
  return { page, asked, remembered, list, bring };
}

describe('the page', () => {
  test('before any dive shows none, and knows that there is none', () => {
    const { page, list } = open();
    expect(page.state).toMatchObject({ listed: false, wanted: null, dive: null });
    list();
    expect(page.state).toMatchObject({ listed: true, wanted: null, dive: null });
  });

  test('follows a dive as its records come', () => {
    const { page, list, bring } = open();
    list(entry(1, false));
    bring(1);
    expect(page.state).toMatchObject({ wanted: 1, live: true, at: 4, playhead: { mode: 'following', at_s: 60 } });
    expect(isReplay(page.state)).toBe(false);
    page.records([decoded(frame(1, 6, 1, 75, [report(50), SILENT]))]);
    expect(page.state.at).toBe(5);
  });

  test('refuses a record that does not follow', () => {
    const { page, bring } = open();
    bring(1);
    expect(page.records([decoded(frame(1, 8, 1, 90, [SILENT, SILENT]))])).toBe(false);
    expect(page.records([decoded(frame(2, 1, 1, 15, [SILENT, SILENT]))])).toBe(false);
    expect(page.state.at).toBe(4);
  });

  test('that looks back stays there while the dive goes on, and goes back to live when asked', () => {
    const { page, bring } = open();
    bring(1);
    page.act({ do: 'seek', at_s: 31 });
    page.records([decoded(frame(1, 6, 1, 75, [report(50), SILENT]))]);
    expect(page.state).toMatchObject({ at: 2, playhead: { at_s: 31 } });
    expect(isReplay(page.state)).toBe(true);
    page.act({ do: 'follow' });
    expect(page.state).toMatchObject({ at: 5, playhead: { mode: 'following', at_s: 75 } });
  });

  test('steps from report to report, and no further than the ends', () => {
    const { page, bring } = open();
    bring(1);
    page.act({ do: 'step', ticks: -1 });
    expect(page.state).toMatchObject({ at: 3, playhead: { at_s: 45 } });
    page.act({ do: 'step', ticks: -20 });
    expect(page.state.at).toBe(0);
    page.act({ do: 'step', ticks: 99 });
    expect(page.state).toMatchObject({ at: 4, playhead: { at_s: 60 } });
  });

  test('goes from chapter to chapter: where legs begin, and notes', () => {
    const { page, bring } = open();
    bring(1);
    page.records([decoded(frame(1, 6, 2, 60, [null, 'one'])), decoded(frame(1, 7, 1, 75, [SILENT, SILENT])), decoded(frame(1, 8, 2, 75, [null, 'two']))]);
    const went = (['earlier chapter', 'earlier chapter', 'earlier chapter', 'later chapter', 'later chapter', 'later chapter'] as const).map((way) => {
      page.act({ do: way });
      return page.state.playhead.at_s;
    });
    expect(went).toEqual([60, 0, 0, 60, 75, 75]);
  });

  test('shows the dive of the link, fetched, while the tail feeds another', () => {
    const { page, asked, list, bring } = open({ dive: 1, at_s: null });
    list(entry(1, true), entry(2, false));
    expect(asked.map(({ dive }) => dive)).toEqual([1]);
    bring(1, true);
    bring(2);
    expect(page.state).toMatchObject({ wanted: 1, live: false, dive: { dive: 1 } });
    page.act({ do: 'follow' });
    expect(page.state).toMatchObject({ wanted: 2, live: true, dive: { dive: 2 }, playhead: { mode: 'following', at_s: 60 } });
  });

  test('whose link names a dive that there is not shows the newest', () => {
    const { page, list, bring } = open({ dive: 99, at_s: 30 });
    list(entry(1, false));
    bring(1);
    expect(page.state).toMatchObject({ wanted: 1, live: true, playhead: { mode: 'following' }, remark: { is: 'no such dive', dive: 99 } });
  });

  test('fetches a dive when it is chosen, once, and shows its end', () => {
    const { page, asked, remembered, list, bring } = open();
    list(entry(1, true), entry(2, true));
    bring(2, true);
    page.act({ do: 'show', dive: 1 });
    page.act({ do: 'show', dive: 1 });
    expect(asked.map(({ dive }) => dive)).toEqual([1]);
    bring(1, true);
    expect(page.state).toMatchObject({ wanted: 1, live: false, at: 4 });
    expect([isOver(page.state), remembered.at(-1)]).toEqual([true, { dive: 1, at_s: null }]);
    page.act({ do: 'show', dive: 2 });
    expect(page.state).toMatchObject({ wanted: 2, live: true });
    expect([asked[0]?.source.isStopped, remembered.at(-1)]).toEqual([true, null]);
  });

  test('plays a dive that is over to its end and rests there', () => {
    const { page, list, bring } = open();
    list(entry(1, true));
    bring(1, true);
    page.act({ do: 'rate', rate: 10 });
    page.act({ do: 'play' });
    expect(page.step(1.6)).toMatchObject({ more: true });
    expect(page.state).toMatchObject({ at: 1, playhead: { at_s: 16 } });
    expect(page.step(10)).toMatchObject({ more: false });
    expect(page.state).toMatchObject({ at: 4, playhead: { mode: 'paused', at_s: 60 } });
  });

  test('plays a dive that goes on until it is live again', () => {
    const { page, bring } = open();
    bring(1);
    page.act({ do: 'seek', at_s: 0 });
    page.act({ do: 'play' });
    page.step(5);
    expect(page.state.playhead).toMatchObject({ mode: 'following', at_s: 60 });
  });

  test('moves on to a new dive while it follows, and stays with the old one while that is replayed', () => {
    const following = open();
    following.bring(1, true);
    following.bring(2);
    expect(following.page.state).toMatchObject({ wanted: 2, live: true });
    const replaying = open();
    replaying.bring(1, true);
    replaying.page.act({ do: 'play' });
    replaying.bring(2);
    expect(replaying.page.state).toMatchObject({ wanted: 1, live: false });
    expect(replaying.page.state.dives.map(({ dive, closed }) => [dive, closed])).toEqual([[1, true], [2, false]]);
  });

  test('opens the link to a moment paused there, while the dive goes on', () => {
    const { page, bring } = open({ dive: 1, at_s: 31 });
    bring(1);
    expect(page.state).toMatchObject({ at: 2, playhead: { mode: 'paused', at_s: 31 }, remark: null });
    page.records([decoded(frame(1, 6, 1, 75, [report(50), SILENT]))]);
    expect(page.state.playhead).toMatchObject({ mode: 'paused', at_s: 31 });
  });

  test('opens the link to a moment of a dive that has to be fetched', () => {
    const { page, list, bring } = open({ dive: 1, at_s: 20 });
    list(entry(1, true), entry(2, false));
    bring(2);
    expect(page.state.dive).toBeNull();
    bring(1, true);
    expect(page.state).toMatchObject({ wanted: 1, at: 1, playhead: { mode: 'paused', at_s: 20 } });
  });

  test('says that the moment of a link is not released yet, and follows; in a dive that is over the end is the last', () => {
    const early = open({ dive: 1, at_s: 900 });
    early.bring(1);
    expect(early.page.state).toMatchObject({ playhead: { mode: 'following', at_s: 60 }, remark: { is: 'not yet', at_s: 900 } });
    early.page.act({ do: 'pause' });
    expect(early.page.state.remark).toBeNull();
    const over = open({ dive: 1, at_s: 900 });
    over.bring(1, true);
    expect(over.page.state).toMatchObject({ playhead: { mode: 'paused', at_s: 60 }, remark: null });
  });

  test('opens another link while it is open, and says when its dive is not there', () => {
    const { page, list, asked, bring } = open();
    list(entry(1, true), entry(2, false));
    bring(2);
    page.open({ dive: 2, at_s: 16 });
    expect(page.state.playhead).toMatchObject({ mode: 'paused', at_s: 16 });
    page.open({ dive: 9, at_s: 5 });
    expect(page.state).toMatchObject({ wanted: 2, playhead: { at_s: 16 }, remark: { is: 'no such dive', dive: 9 } });
    page.open({ dive: 1, at_s: 44 });
    expect([asked.length, page.state.dive, page.state.remark]).toEqual([1, null, null]);
    bring(1, true);
    expect(page.state).toMatchObject({ wanted: 1, playhead: { mode: 'paused', at_s: 44 } });
    page.open(null);
    expect(page.state).toMatchObject({ wanted: 2, playhead: { mode: 'following', at_s: 60 } });
  });

  test('keeps the moment in the address while it rests, and lets one that passes by alone', () => {
    const { page, remembered, list, bring } = open();
    list(entry(1, true));
    bring(1, true);
    page.act({ do: 'seek', at_s: 20 });
    expect(remembered).toEqual([{ dive: 1, at_s: 20 }]);
    page.act({ do: 'play' });
    page.step(0.2);
    expect(remembered.length).toBe(1);
    page.step(10);
    expect(remembered.at(-1)).toEqual({ dive: 1, at_s: 60 });
    page.act({ do: 'follow' });
    expect(remembered.at(-1)).toBeNull();
  });

  test('takes Space for play and pause: live is playing, too', () => {
    const { page, bring } = open();
    bring(1);
    const after = () => {
      page.act({ do: 'toggle' });
      return page.state.playhead.mode;
    };
    expect([after(), after(), after()]).toEqual(['paused', 'following', 'paused']);
    page.act({ do: 'seek', at_s: 15 });
    expect([after(), after()]).toEqual(['playing', 'paused']);
  });

  test('skips by dive time, and changes its rate, no further than the ends', () => {
    const { page, bring } = open();
    bring(1);
    page.act({ do: 'skip', by_s: -22 });
    expect(page.state.playhead.at_s).toBe(38);
    page.act({ do: 'skip', by_s: -300 });
    expect(page.state.playhead.at_s).toBe(0);
    const rates = Array.from({ length: 3 }, () => (page.act({ do: 'faster' }), page.state.playhead.rate));
    expect(rates).toEqual([120, 120, 120]);
    expect(Array.from({ length: 5 }, () => (page.act({ do: 'slower' }), page.state.playhead.rate))).toEqual([60, 20, 5, 1, 1]);
  });

  test('takes how many follow from the site', () => {
    const { page } = open();
    page.following(12);
    expect(page.state.followers).toBe(12);
  });

  test('forgets everything when the relay begins anew', () => {
    const { page, list, bring } = open();
    bring(3);
    page.reset();
    list(entry(1, false));
    bring(1);
    expect(page.state).toMatchObject({ wanted: 1, live: true, dive: { dive: 1 } });
  });

  test('forgets a dive that was withdrawn, says why, and shows it when it comes again', () => {
    const { page, list, bring } = open();
    list(entry(1, false));
    bring(1);
    page.proof(1, { is: 'altered', seq: 0, why: 'signature' });
    page.withdraw(1);
    expect(page.state).toMatchObject({ dive: null, wanted: 1, proof: { is: 'altered' } });
    bring(1);
    expect(page.state).toMatchObject({ live: true, at: 4, dive: { dive: 1 } });
  });

  test('shows a dive that was cut up to where it was cut', () => {
    const { page, list, bring } = open();
    list(entry(1, false));
    bring(1);
    page.records(diveFrames(1, TICKS).slice(0, 3).map(decoded));
    expect(page.state).toMatchObject({ at: 1, playhead: { mode: 'following', at_s: 15 } });
  });

  test('has for each dive what became of checking it, and how many records came out of turn', () => {
    const { page, list, bring } = open();
    list(entry(1, true), entry(2, false));
    bring(2);
    page.proof(1, { is: 'unsigned', known: false });
    page.proof(2, { is: 'signed', basis: 'first', key: 'k' });
    page.outOfTurn();
    expect(page.state).toMatchObject({ proof: { is: 'signed' }, outOfTurn: 1 });
    page.act({ do: 'show', dive: 1 });
    expect(page.state).toMatchObject({ proof: { is: 'unsigned' } });
    page.told('altered');
    expect(page.state).toMatchObject({ programme: null, programmeAltered: true });
    page.reset();
    expect(page.state.proof).toBeNull();
  });
});
