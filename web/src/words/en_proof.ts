/** What the page says in English of the ship's signatures, and to a guest. */

export const proofEn = {
  checkingMore: '(being checked)',
  signed: 'Signed by the ship',
  bySome: 'Signed',
  changedMore: 'with another key than before.',
  signedMore: 'and checked here.',
  cutMore: 'and checked here as far as it goes: its end is missing.',
  unchecked: 'Not checked:',
  insecureMore: 'signatures can’t be checked on a page that doesn’t come over https.',
  browserMore: 'this browser is too old to check signatures.',
  unsigned: 'Not signed:',
  unsignedMore: 'nobody can tell whether it is as the ship sent it.',
  meaning: 'The ship signs each record. Whoever passes it on can keep records back, but can’t change one unnoticed.',
  basis: {
    link: 'Checked against the key in the link that was opened.',
    kept: 'Checked against the key that this browser has kept of this site.',
    first: 'The key came with the dive: one hand signed all of it, but whose? Compare it with the ship’s key as somebody on board told it.',
  },
  beyond: 'Who sent this page could have changed it, too. Without trusting it: “offing verify”, with the recording’s file and this key.',
  key: 'The key:',
  outOfTurn: (n: string) => `${n === '1' ? 'One record' : `${n} records`} came twice, out of turn or not at all. It was put right.`,
  seals: (n: string, time: string) => `The ship seals her exact record each minute. Seals so far: ${n}, the last at ${time}. They tell nothing of it, and can prove it later.`,
  alarm: {
    altered: 'Altered on its way',
    notShown: 'This dive is not shown',
    nothing: 'This dive is not what the ship signed. Nothing of it is shown.',
    signature: (record: string) => `Record ${record} of this dive is not what the ship signed. What is shown ends before it; nothing later is taken.`,
    missing: (record: string) => `Record ${record} of this dive is missing or out of place. What is shown ends before it; nothing later is taken.`,
    other: 'Something came that the ship did not sign. It is not shown.',
    link: 'This dive is not signed with the key in the link that was opened. Nothing of it is shown.',
    advice: 'Please tell whoever runs this site.',
    changed: 'Another key than before',
    changedMore: 'This dive is signed with another key than this browser has kept. The ship may have been set up anew, or somebody may be posing as her: ask before relying on it.',
    accept: 'The new key is right: keep it',
    stripped: 'Signatures are missing',
    strippedMore: 'Earlier dives were signed by the ship; this one is not. Nobody can tell whether it is as she sent it.',
  },
  connection: 'stopped',
  connectionMore: 'something was altered on its way',
};

export const guestEn = {
  title: 'Your invitation has ended',
  more: 'Whoever invited you can send a new link.',
  unknown: {
    word: 'your invitation isn’t known here',
    title: 'Your invitation isn’t known here',
    more: 'It may have ended, or this site hasn’t heard of it yet: the page asks again by itself. Whoever invited you can send a new link.',
  },
};
