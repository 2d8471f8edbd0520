import { describe, expect, test } from 'vitest';
import { invite } from '../../desk/src/forms';
import { guestOf, isEnded } from '../../desk/src/panels/guests';
import { ashoreOf, BEHIND_S, brief, figuresOf } from '../../desk/src/panels/uplink';
import { STATE } from './states';

const { uplink } = STATE;
const { public: level } = uplink.audiences;
const plain = (text: string): string => text.replaceAll('\u00a0', ' ');

describe('the link to the shore', () => {
  test('says of which audience the shore is behind, of every one that it has not told, and that it is down', () => {
    expect(brief({ state: 'up', audiences: { public: level } })).toBe('up, all ashore');
    expect(brief({ state: 'up', audiences: { public: { ...level, behind_s: BEHIND_S } } })).toBe('up, all ashore');
    expect(brief({ state: 'up', audiences: { public: { ...level, behind_s: BEHIND_S + 1 } } })).toBe('up, public behind');
    expect(brief({ state: 'up', audiences: { ...uplink.audiences, public: { ...level, behind_s: null } } })).toBe('up, public, funders behind');
    expect(brief({ state: 'down', audiences: { public: level } })).toBe('DOWN');
  });

  test('says what it carries beside its limit, and what is not known as not known', () => {
    expect(figuresOf(uplink).map(plain)).toEqual(['wss://shore.example:8444/', '67 min', '2 since the start', '320 kB, both ways', '900 bit a second', '64 kbit a second']);
    expect(figuresOf({ ...uplink, up_since_s: null, limit_bits_per_s: null }).map(plain).slice(1)).toEqual(['not up', '2 since the start', '320 kB, both ways', '900 bit a second', 'none set']);
    expect(ashoreOf(uplink.audiences.funders).map(plain)).toEqual(['12 records, 95 s behind', 'Up to dive 3, record 299; 6 following there']);
    expect(ashoreOf(level).map(plain)).toEqual(['all ashore', 'Up to dive 3, record 310; 1,240 following there']);
    expect(ashoreOf({ behind_records: null, behind_s: null, held_dive: null, held_seq: null, followers: null })).toEqual(['not known', 'The shore hasn’t said what it has']);
    expect(ashoreOf({ ...level, behind_records: 1, behind_s: 4, held_dive: 0, held_seq: -1 }).map(plain)).toEqual(['1 record, 4 s behind', 'No record yet; 1,240 following there']);
  });
});

describe('an invitation', () => {
  test('needs a name and an audience, and a last day only as a day is written', () => {
    const whole = { name: ' Ines Quillen ', audience: 'funders', until: '2031-12-31' };
    expect(invite(whole)).toEqual({ decision: { do: 'invite', name: 'Ines Quillen', audience: 'funders', until: '2031-12-31' } });
    expect(invite({ ...whole, until: ' ' })).toEqual({ decision: { do: 'invite', name: 'Ines Quillen', audience: 'funders' } });
    for (const field of ['name', 'audience']) expect(invite({ ...whole, [field]: ' ' })).toEqual({ fault: 'needed', field });
    for (const until of ['31.12.2031', '2031-12', '2031-12-31 12:00', 'soon']) expect(invite({ ...whole, until })).toEqual({ fault: 'day', field: 'until' });
  });

  test('forgets the link of whoever was taken back, or is over, and of nobody else', () => {
    const link = 'https://dive.example/#guest=5f0c.AbC-_d';
    const guest = { id: '5f0c', revoked: false, over: false };
    expect(isEnded(link, [guest, { ...guest, id: '5f0', revoked: true }])).toBe(false);
    expect(isEnded(link, [{ ...guest, revoked: true }])).toBe(true);
    expect(isEnded(link, [{ ...guest, over: true }])).toBe(true);
    expect(isEnded('', [{ ...guest, revoked: true }])).toBe(false);
  });

  test('says to what, for how long, and whether it was used', () => {
    expect(guestOf({ id: '5f0c', audience: 'funders', until: null, opens: 0, last_day: null })).toBe('funders, no end, not opened here; id 5f0c');
    expect(guestOf({ id: '5f0c', audience: 'funders', until: '2031-12-31', opens: 1, last_day: '2031-05-03' })).toBe('funders, to 2031-12-31, opened once, last 2031-05-03; id 5f0c');
    expect(guestOf({ id: '7a', audience: 'press', until: null, opens: 12, last_day: '2031-05-03' })).toBe('press, no end, opened 12 times, last 2031-05-03; id 7a');
  });
});
