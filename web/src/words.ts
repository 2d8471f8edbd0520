/**
 * Every word the page says, in one place: a second language is a second file of this shape.
 *
 * Rules: no other module holds a word a follower can read or hear; numbers arrive already formatted.
 */

const list = (names: readonly string[]): string =>
  names.length < 2 ? (names[0] ?? '') : `${names.slice(0, -1).join(', ')} and ${names[names.length - 1]}`;

export const words = {
  language: 'en',
  locale: 'en-GB',

  page: {
    title: 'A dive, followed from ashore',
    summary: 'Follow an underwater dive from ashore: late, coarse and without a place, on purpose.',
    noscript: 'This page draws the dive with a script that comes from this site alone. Please allow it.',
    skip: 'Skip to what is happening now',
    untitled: 'Dive',
    titleOf: (expedition: string, dive: string, now: string) => `${now} · ${dive} · ${expedition}`,
  },

  units: { metre: 'm', second: 's', minute: 'min', hour: 'h', metresPerSecond: 'm/s', degree: '°' },
  long: {
    second: (n: string) => (n === '1' ? '1 second' : `${n} seconds`),
    minute: (n: string) => (n === '1' ? '1 minute' : `${n} minutes`),
    hour: (n: string) => (n === '1' ? '1 hour' : `${n} hours`),
    day: (n: string) => (n === '1' ? '1 day' : `${n} days`),
    range: (least: string, most: string) => `${least} to ${most}`,
  },

  honest: {
    late: (delay: string) => `You see this ${delay} late.`,
    recorded: (delay: string) => `A recording, shown ${delay} late.`,
    prompt: 'You see this as soon as the ship sends it.',
    promptRecorded: 'A recording.',
    before: 'What you see here comes late,',
    local: 'Positions are coarse and without a place, on purpose.',
    localBefore: 'coarse and without a place, on purpose.',
    area: (area: string) => `Of the place, only this is told, on purpose: ${area}.`,
    exact: 'Positions are given as they were measured.',
    untold: 'Positions are not told, on purpose.',
  },

  connection: {
    connecting: 'connecting',
    connected: 'connected',
    delayed: 'delayed',
    delayedFor: (time: string) => `nothing new for ${time}`,
    replay: 'replay',
    lookingBack: 'the dive is going on',
    otherGoingOn: 'another dive is going on',
    disconnected: 'disconnected',
    tryingIn: (time: string) => `trying again in ${time}`,
    tryingNow: 'trying again',
    full: 'full',
    refused: 'refused',
    refusedWhy: 'the relay does not know this page: please reload it',
    outdated: 'out of date',
    outdatedWhy: 'the relay speaks a newer language: please reload this page',
    recordingsOnly: 'recordings only',
    retry: 'Try now',
    heading: 'Connection',
  },

  picker: {
    label: 'Dive',
    one: (dive: string) => `Dive ${dive}`,
    goingOn: (dive: string) => `Dive ${dive}, going on`,
    over: (dive: string) => `Dive ${dive}, recording`,
    none: 'None yet',
  },

  headline: {
    noDive: 'No dive yet',
    noDiveMore:
      'When a vehicle goes into the water, its track, its depth and the notes of the people on board will be drawn here. Leave this page open, or come back: every dive is kept to be watched again.',
    fetching: 'Reading the dive',
    fetchingMore: 'One moment.',
    unreachable: 'The relay cannot be reached',
    unreachableMore: 'This page keeps trying by itself.',
    damaged: 'This recording is damaged',
    damagedMore: 'It is not what the ship released, so it is not shown.',
    starting: 'A dive is beginning',
    startingMore: 'The first report is due any moment.',
    over: 'The dive is over',
    overMore: (lasted: string, deepest: string | null) =>
      deepest === null ? `It lasted ${lasted}.` : `It lasted ${lasted} and went ${deepest} deep.`,
    into: (elapsed: string) => `${elapsed} into the dive`,
    noReport: (names: readonly string[]) => `No report from ${list(names)}`,
    deck: (names: readonly string[]) => `${list(names)} ${names.length > 1 ? 'are' : 'is'} on deck`,
    descent: (names: readonly string[]) => `${list(names)} ${names.length > 1 ? 'are' : 'is'} on the way down`,
    bottom: (names: readonly string[]) => `${list(names)} ${names.length > 1 ? 'are' : 'is'} at work below`,
    ascent: (names: readonly string[]) => `${list(names)} ${names.length > 1 ? 'are' : 'is'} on the way up`,
    onTheBottom: (names: readonly string[]) => `${list(names)} ${names.length > 1 ? 'are' : 'is'} on the bottom`,
    underWay: (names: readonly string[]) => `${list(names)} ${names.length > 1 ? 'are' : 'is'} under way`,
  },

  vehicle: {
    heading: 'The vehicles',
    onTheBottom: 'on the bottom',
    nearTheBottom: 'near the bottom',
    midWater: 'in mid-water',
    deck: 'on deck',
    descent: 'on the way down',
    bottom: 'at work below',
    ascent: 'on the way up',
    silent: 'no report',
    silentFor: (time: string) => `no report for ${time}`,
    never: 'no report yet',
    underWay: 'under way',
    depth: 'depth',
    lastDepth: 'last depth',
    pointing: 'heading',
    pointingValue: (angle: string) => `${angle} on the plan`,
    mode: 'mode',
    tethered: 'on its tether',
    autonomous: 'on its own',
    surface: 'at the surface',
    pace: 'pace',
    paceValue: (speed: string, time: string) => `about ${speed} over ${time}`,
    paceStill: (time: string) => `hardly moving for ${time}`,
    deepest: 'deepest',
    below: 'at work below',
    way: 'way on the plan',
    about: (length: string) => `about ${length}`,
    asFirst: 'as where the bottom was reached',
    belowFirst: (length: string) => `about ${length} below where the bottom was reached`,
    aboveFirst: (length: string) => `about ${length} above where the bottom was reached`,
  },

  plan: {
    title: 'Plan',
    up: 'Up is not north',
    upMore: 'The drawing is turned by an angle that is not told.',
    cell: (cell: string) => `Shaded: every ${cell} square visited so far.`,
    grid: (grid: string) => `Grid ${grid}.`,
    blank: 'The sheet is still blank.',
    noTrack: 'The track is not told.',
    noTrackYet: 'No track is shown on this leg of the dive.',
    areaAlone: (area: string) => `Only the area is told: ${area}.`,
    label: (where: string, grid: string) => `Plan of the track on a grid of ${grid}; up is not north. ${where}`,
    labelEmpty: (why: string) => `Plan without a track. ${why}`,
    whereOf: (name: string, right: string, up: string) => `${name} is ${right} and ${up} of where its track begins.`,
    whereStart: (name: string) => `${name} is where its track begins.`,
    whereUnknown: (name: string) => `The place of ${name} on the plan is not told now.`,
    right: (length: string) => `${length} to the right`,
    left: (length: string) => `${length} to the left`,
    above: (length: string) => `${length} above`,
    below: (length: string) => `${length} below`,
    level: 'level with it',
  },

  column: {
    title: 'Water column',
    surface: 'surface',
    deepest: (depth: string) => `deepest ${depth}`,
    noDepth: 'Depth is not told.',
    relative: 'Told from where the bottom was first reached; figures grow downwards.',
    first: 'reached',
    label: (what: string, deepest: string) => `Water column. ${what} Deepest so far in this dive: ${deepest}.`,
    labelEmpty: (why: string) => `Water column. ${why}`,
    at: (name: string, depth: string, where: string) => `${name}: ${depth}, ${where}.`,
    unknown: (name: string) => `The depth of ${name} is not told now.`,
  },

  depth: {
    title: 'Depth over time',
    label: (to: string, deepest: string) => `Depth over the time of the dive, from the start to ${to}. Deepest: ${deepest}.`,
    labelEmpty: 'Depth over the time of the dive: nothing to draw yet.',
  },

  ribbon: {
    notYet: 'not yet',
    label: 'Moment shown, in dive time',
    value: (elapsed: string, what: string) => `${elapsed} into the dive. ${what}`,
    legs: { deck: 'on deck', descent: 'down', bottom: 'bottom', ascent: 'up', none: '' },
    silent: 'no report',
    help: 'Arrow keys move by one report, Page Up and Page Down by five minutes, Home and End to the ends.',
  },

  controls: {
    group: 'Replay',
    play: 'Play',
    playAgain: 'Play from the start',
    pause: 'Pause',
    speed: 'Speed',
    times: (rate: string) => `${rate} ×`,
    follow: 'Back to live',
    goToLive: 'A dive is going on: go to live',
  },

  notes: {
    none: 'No notes so far.',
    withheld: 'Notes are not told.',
    by: (vehicle: string | null, when: string) => (vehicle === null ? when : `${vehicle}, ${when}`),
    earlier: (time: string) => `${time} earlier`,
    justThen: 'just then',
  },

  targets: {
    title: 'Targets',
    verdicts: {
      unchecked: 'not yet looked at',
      rock: 'rock',
      'modern debris': 'modern debris',
      'of interest': 'of interest',
      withheld: 'what it is, is not told',
    },
    unknown: 'not told',
  },

  figures: {
    title: 'The figures behind the drawings',
    caption: (shown: string, total: string) =>
      `The latest ${shown} of ${total} reports up to the moment shown, newest first. Move along the ribbon for others.`,
    captionAll: (total: string) => (total === '1' ? 'The only report so far.' : `All ${total} reports up to the moment shown, newest first.`),
    time: 'dive time',
    vehicle: 'vehicle',
    depth: 'depth, m',
    east: 'right, m',
    north: 'up, m',
    heading: 'heading on the plan',
    altitude: 'altitude',
    leg: 'leg',
    attitude: 'pitch, roll',
    untold: 'not told',
    silent: 'no report',
    download: 'The recording as a file',
    verified: 'checked: it is what the ship released',
    unchecked: 'could not be checked in this browser',
    incomplete: 'incomplete: its end is missing',
    unread: (n: string) => (n === '1' ? '1 record of an unknown kind was passed over.' : `${n} records of unknown kinds were passed over.`),
  },

  cautions: {
    title: 'Please bear in mind',
    lines: [
      'Not for navigation, for controlling a vehicle or for avoiding a collision.',
      'A delay and a track without a place give less away; they do not undo what ship tracking, photographs, the crew or earlier publications give away.',
      'A wreck may be protected heritage, or a grave. Permits, reporting duties and local law come first; licensed practice decides.',
    ],
  },

  time: {
    chapters: {
      title: 'Chapters',
      more: 'Where a part of the dive begins, and what was written on board. A time leads to its moment.',
      go: (time: string) => `${time} into the dive: show this moment`,
      target: (name: string, verdict: string) => `Target ${name}: ${verdict}`,
      earlier: 'Earlier chapter',
      later: 'Later chapter',
    },
    link: {
      copy: 'Copy a link to this moment',
      copied: (time: string) => `Copied: a link to ${time} into the dive.`,
      byHand: 'This browser does not let a page copy. Here is the link, to be copied by hand:',
      field: 'Link to this moment',
    },
    remark: {
      noSuchDive: (dive: string) => `The link leads to dive ${dive}, which is not here. This is what there is.`,
      notYet: (time: string) => `The link leads to ${time} into the dive, which has not been released yet. This is the latest.`,
    },
    keys: {
      title: 'Keys',
      on: 'Use these keys on this page',
      more: 'They work while no field and no list has the keyboard; letters only while no button has it either.',
      rows: [
        ['Space', 'play or pause; back to live at its edge'],
        ['\u2190 \u2192', 'one report back or on'],
        ['Shift + \u2190 \u2192', 'five minutes back or on'],
        ['P, N', 'previous or next chapter'],
        ['B', 'to the begin of the dive'],
        ['L', 'back to live'],
        ['S, F', 'slower or faster'],
        ['C', 'copy a link to this moment'],
      ] as readonly (readonly [string, string])[],
    },
    ribbon: {
      chapter: (what: string) => `Chapter: ${what}`,
    },
    plan: {
      swath: (width: string) => `Hatched: the ground seen so far, ${width} across along the track.`,
      targets: 'Crosses: targets, drawn where the vehicle was shown when each was told; ringed where it was looked at.',
    },
    sums: {
      title: 'The dive so far',
      area: 'ground covered',
      about: (area: string) => `about ${area}`,
      targets: 'targets checked',
      checked: (checked: string, total: string) => `${checked} of ${total}`,
      squareMetre: 'm\u00b2',
      squareKilometre: 'km\u00b2',
    },
    followers: (n: string) => `${n} following`,
    allDives: 'All dives',
    audience: {
      word: 'not found',
      title: 'There is no such page',
      more: 'The address asks for an audience that is not here, or is not open to all. Please check the link.',
    },
  },

  spoken: {
    connection: (words: string) => `Connection: ${words}.`,
    note: (text: string) => `New note: ${text}`,
  },
};

export type Words = typeof words;
