"""What is wrong after a voyage over failing wires: with followers, the shore, the journal, memory and file handles."""

from collections.abc import Iterator

import msgpack

from link_programs import AUDIENCES, DELAY_US
from link_stations import rows_of, segments_of, streams_wrong
from link_voyage import Held, Voyage

NOTE = 2  # the kind of a record that says something (relay/asyncapi.yaml)
HANDLES_MOST = 160  # beyond idle: the viewers that a failing network leaves behind, until their deadlines
SLACK_OCTETS = 32 * 1_024 * 1_024
COPIES = 24  # of each octet released that a relay keeps in memory: two audiences, histories, the link's log, as objects


def followers_wrong(here: Voyage, released: list[bytes]) -> Iterator[str]:
    """Yield what is wrong with what followers had: each record once, in order, as the ship recorded it, none early."""
    for name, one in here.followers.items():
        if one.held != released:
            lost, more = len(set(released) - set(one.held)), len(one.held) - len(set(one.held))
            yield f"follower {name}: {len(one.held)} records of {len(released)}, {lost} lost, {more} doubled"
        yield from (f"follower {name}: {words}" for words in one.faults[:5])
        yield from early(name, one.held, one.came_us, here.lark.noted_us)


def early(name: str, frames: list[bytes], came_us: list[int], noted_us: list[int]) -> Iterator[str]:
    """Yield notes that came sooner than the delay after the station sent them (both by CLOCK_BOOTTIME)."""
    for frame, at_us in zip(frames, came_us, strict=True):
        record = msgpack.unpackb(frame)
        if record[2] == NOTE:
            number = int(record[4][1][1:])
            ahead_us = noted_us[number] + DELAY_US - at_us
            if ahead_us > 0:
                yield f"follower {name}: note {number} came {ahead_us} us too early"


def shore_wrong(here: Voyage) -> Iterator[str]:
    """Yield where the shore's recordings aren't the ship's, byte for byte."""
    for audience in AUDIENCES:
        ends = [{path.name: path.read_bytes() for path in here.recordings(end, audience)} for end in ("ship", "shore")]
        if ends[0] != ends[1]:
            differ = sorted(name for name in ends[0].keys() | ends[1].keys() if ends[0].get(name) != ends[1].get(name))
            yield f"ashore {audience} isn't as aboard: {', '.join(differ)}"


def journal_wrong(here: Voyage) -> Iterator[str]:
    """Yield what of the stations' words isn't in the journal, or what came back to them."""
    journal = here.ship_folder / "private" / "journal.db"
    datagrams = [data for _, data in rows_of(journal, "lark")]
    if datagrams != [data for _, data in here.lark.sent]:
        yield f"the journal has {len(datagrams)} datagrams of {len(here.lark.sent)}, or in another order"
    for name in ("wren", "rook"):
        segments = segments_of(rows_of(journal, name))
        yield from (f"feed {name}: {words}" for words in streams_wrong(segments, here.wires[name].lines))
        if here.wires[name].written:
            yield f"feed {name}: {len(here.wires[name].written)} octets went to the station"
    if here.streams.heard:
        yield f"{len(here.streams.heard)} octets came back at a station"


def memory_wrong(name: str, held: Held, released: int) -> Iterator[str]:
    """Yield what grew without a bound: files, or memory beyond what was released (octets) meanwhile."""
    if not held.handles:
        return
    if max(held.handles) - held.handles[0] > HANDLES_MOST:
        yield f"the {name} had {max(held.handles)} files open, {held.handles[0]} at the beginning"
    early_on = held.octets[min(len(held.octets) - 1, 1 + len(held.octets) // 5)]
    grown = held.octets[-1] - early_on
    if grown > SLACK_OCTETS + COPIES * released:
        yield f"the {name}'s memory grew by {grown} octets while {released} were released"


def all_wrong(here: Voyage, beyond: dict[str, int]) -> list[str]:
    """Return everything that is wrong; `beyond`: what was still open when everybody had gone."""
    octets = sum(here.told("ship", audience) for audience in AUDIENCES)
    out = [*followers_wrong(here, here.released()), *shore_wrong(here), *journal_wrong(here)]
    for name, held in here.held.items():
        out += [*memory_wrong(name, held, octets), *here.programs[name].faults()]
    out += [f"{count} more open than before: {name}" for name, count in beyond.items() if count > 0]
    return out + [f"the {name} had ended by itself" for name in here.gone]
