"""Failing links, the short version of `make faults ARGS="--only link"`, and that what it looks at can be wrong."""

import random
from collections import Counter
from pathlib import Path

import pytest

import link_campaigns
from faults_link import outcome
from faulty_wire import DOWN, UP, Kind, Line, Wire
from link_campaigns import Campaign, Struck, drawn, play
from link_stations import segments_of, streams_wrong
from link_verdict import COPIES, HANDLES_MOST, SLACK_OCTETS, early, memory_wrong
from link_voyage import Held
from released import dive
from shores import SIGNER, STRANGER, sealed
from streams import free_port
from wire_followers import WireFollower

COUNT = 60
FRAMES = sealed([*dive(1, 3), *dive(2, 3)])


@pytest.mark.slow
def test_whatever_links_do_everything_comes_once_in_order_and_none_early(tmp_path: Path) -> None:
    """Faults between ship and shore, before followers of both and before stations leave every rule whole."""
    done = outcome(COUNT, 9, tmp_path, lambda words: None)
    assert [] == done.wrong
    assert done.tried == COUNT


def test_every_kind_of_fault_is_drawn_for_every_direction() -> None:
    """A campaign leaves out no kind and no direction, and strikes handshakes as well as what follows them."""
    chance, wire = random.Random(1), Wire(("127.0.0.1", 1), random.Random(1))
    faults = [drawn(Campaign("link", wire, 1.0, {UP: 4_000, DOWN: 1_500}), chance) for _ in range(2_000)]
    assert Counter((fault.kind, fault.way) for fault in faults).keys() == {(k, w) for k in Kind for w in (UP, DOWN)}
    assert sum(fault.after < 60 for fault in faults) > 500 and sum(fault.after > 1_000 for fault in faults) > 200
    told_twice = [drawn(Campaign("x", wire, 1.0, {UP: 9, DOWN: 9}, plain_repeats=False), chance) for _ in range(999)]
    assert not any(fault.kind is Kind.REPEAT and fault.way == DOWN for fault in told_twice)


async def test_wire_on_which_nothing_passes_any_more_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody comes back after a fault: the next one finds nothing to strike, and that is wrong."""
    monkeypatch.setattr(link_campaigns, "PATIENCE_S", 0.05)
    wire, struck = Wire(("127.0.0.1", free_port()), random.Random(1)), Struck()
    await wire.start()

    async def whole() -> None:
        pass

    await play(Campaign("link", wire, 1.0, {UP: 9}, (Kind.CUT,)), 2, random.Random(1), struck, whole)
    await wire.close()
    assert (struck.count, len(struck.wrong)) == (2, 2)


def _line(delivered: bytes, whole: bool) -> Line:
    return Line(None, None, delivered=bytearray(delivered), whole=whole)  # type: ignore[arg-type]


LINES = [_line(b"one", True), _line(b"", True), _line(b"two", False), _line(b"three", False), _line(b"four", True)]


@pytest.mark.parametrize(
    ("segments", "is_wrong"),
    [
        ([b"one", b"two", b"three", b"four"], False),
        ([b"one", b"t", b"four"], False),  # of what was broken off a part, or nothing
        ([b"one", b"thr", b"four"], False),
        ([b"one", b"two", b"three", b"fou"], True),  # a part of what ended in order
        ([b"on", b"two", b"four"], True),
        ([b"two", b"three", b"four"], True),  # one lost
        ([b"one", b"one", b"two", b"four"], True),  # one doubled
        ([b"one", b"three", b"two", b"four"], True),  # swapped
        ([b"one", b"twothree", b"four"], True),  # two made one
        ([b"one", b"two", b"three", b"four", b"five"], True),
    ],
)
def test_streams_in_the_journal_are_laid_beside_what_was_delivered(segments: list[bytes], is_wrong: bool) -> None:
    """What is lost, doubled, swapped, joined or made up is told; what a reset may take isn't."""
    assert bool(streams_wrong(segments, LINES)) == is_wrong


def test_streams_are_parted_by_their_ends_alone() -> None:
    """Rows of one stream are joined; an end without a stream before it makes none."""
    rows = [("whole", b""), ("stream", b"on"), ("stream", b"e"), ("whole", b""), ("whole", b""), ("stream", b"two")]
    assert segments_of(iter(rows)) == [b"one", b"two"]


def test_note_that_comes_too_early_is_told() -> None:
    """A microsecond sooner than the delay after the station sent it, and no other."""
    frames = [b"\x96\x01\x02\x02\x00\x92\x00\xa2n0", b"\x96\x01\x03\x02\x00\x92\x00\xa2n1"]
    frames = [frame + b"\xc4\x00" for frame in frames]
    assert list(early("one", frames, [1_000_005, 1_000_009], [5, 9])) == []
    assert ["note 1" in words for words in early("one", frames, [1_000_005, 1_000_008], [5, 9])] == [True]


def test_memory_and_files_that_grow_are_told() -> None:
    """Up to the bound nothing is said, one past it it is; what is released may be kept."""
    at, base = [0.0, 1.0, 2.0], 10**8
    fits = Held(at, [30, 30 + HANDLES_MOST, 30], [base, base, base + SLACK_OCTETS + COPIES * 7])
    assert list(memory_wrong("ship", fits, 7)) == []
    grown = Held(at, [30, 31 + HANDLES_MOST, 30], [base, base, base + SLACK_OCTETS + COPIES * 7 + 1])
    assert len(list(memory_wrong("ship", grown, 7))) == 2


def test_follower_behind_a_wire_blames_the_relay_for_what_the_wire_did_not_do() -> None:
    """An unsigned record, a gap or a repetition is a fault, unless the wire has altered something meanwhile."""
    (stranger,) = sealed(dive(1, 1)[:1], STRANGER)
    for altered in (0, 1):
        for wrong in (stranger, FRAMES[1]):
            follower = WireFollower("127.0.0.1:1", SIGNER.key, altered=lambda altered=altered: altered)  # type: ignore[misc]
            try:
                follower._take(wrong, "live")
            except ValueError as error:
                follower._blame(str(error))
            except ConnectionError:
                pass
            assert len(follower.faults) == 1 - altered
            assert len(follower.held) == (wrong is FRAMES[1] and not altered)
