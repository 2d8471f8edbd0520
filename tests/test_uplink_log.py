"""What the ship keeps for the shore: in order, found again from wherever the shore stands."""

from hashlib import sha256
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core import uplink_log
from relay.core.errors import OutOfOrderError
from relay.core.uplink_log import Mark, ShipLog, Stands
from relay.core.uplink_talk import Held

DIVES = st.lists(st.integers(1, 6), min_size=1, max_size=5)


def frame(dive: int, seq: int) -> bytes:
    """Return bytes for a record; what they hold doesn't matter here."""
    return f"record {seq} of dive {dive}".encode()


def filled(*lengths: int) -> ShipLog:
    """Return a log of dives of so many records, numbered 1, 3, 5, ..."""
    log = ShipLog("public")
    for at, records in enumerate(lengths):
        for seq in range(records):
            log.add(2 * at + 1, seq, frame(2 * at + 1, seq), at_s=10.0 * at + seq)
    return log


def held(dive: int, seq: int, programme: int = -1) -> Held:
    """Return what a shore says that has this dive up to a record (digest: FIPS 180-4, by hashlib)."""
    return Held(dive, seq, programme, sha256(b"".join(frame(dive, at) for at in range(seq + 1))).digest())


@given(DIVES, st.data(), st.integers(1, 80))
def test_whatever_the_shore_has_it_gets_the_rest_once_and_in_order(
    lengths: list[int], data: st.DataObject, octets: int
) -> None:
    """From any record on, in batches of any size, exactly what follows is sent."""
    log = filled(*lengths)
    everything = [frame(2 * at + 1, seq) for at, records in enumerate(lengths) for seq in range(records)]
    has = data.draw(st.integers(0, len(everything)))
    mark = Mark(0, -1)
    if has:
        dive, seq = log.place(Mark(has, -1))
        found = log.find(held(dive, seq))
        assert found == Mark(has, -1)
        mark = found
    out: list[bytes] = []
    while (batch := log.after(mark, octets))[0]:
        out += batch[0]
        mark = batch[1]
    assert everything[has:] == out
    assert mark == log.head


def test_batch_ends_with_the_record_that_fills_it() -> None:
    """A batch takes records until they come to the bound, so a record longer than that goes alone."""
    log = filled(6)
    size = len(frame(1, 0))
    assert len(log.after(Mark(0, -1), size)[0]) == 1
    assert len(log.after(Mark(0, -1), size + 1)[0]) == 2
    assert len(log.after(Mark(0, -1), 1)[0]) == 1


@pytest.mark.parametrize(
    ("there", "stands"),
    [
        (held(3, 4), Stands.MORE),
        (held(5, 0), Stands.MORE),
        (held(1, 6), Stands.OTHER),
        (Held(3, 1, -1, bytes(32)), Stands.OTHER),
    ],
)
def test_shore_that_holds_what_is_not_here_is_found(there: Held, stands: Stands) -> None:
    """More than there is may yet come; another digest, or a dive that is longer there never agrees."""
    assert filled(6, 4).find(there) is stands


def test_programme_that_the_ship_tells_no_more_holds_up_no_dive() -> None:
    """The shore has one that isn't here: an audience that lost the right to annotations is still told its dives."""
    assert filled(6, 4).find(Held(programme=0)) == Mark(0, 0)
    assert filled(6, 4).find(held(3, 1, 0)) == Mark(8, 0)


def test_dive_that_the_ship_lost_stands_in_nobodys_way() -> None:
    """The shore holds dive 2, of which nothing is here: what follows it is sent; a dive to come isn't lost."""
    log = filled(6, 4)
    assert log.find(held(2, 7)) == Mark(6, -1)
    assert [log.lacks(dive) for dive in range(6)] == [False, False, True, False, False, False]
    assert ShipLog("public").find(held(2, 7)) is Stands.MORE


def test_finding_a_place_hashes_no_whole_dive(monkeypatch: pytest.MonkeyPatch) -> None:
    """However long the dive and wherever the shore stands: a bounded stretch is hashed (digests by hashlib)."""
    log, hashed = ShipLog("public"), [0]
    frames = [bytes([seq % 256]) * 9_000 for seq in range(600)]

    class Counting:
        def __init__(self, inner: Any = None) -> None:
            self.inner = inner or sha256()

        def update(self, data: bytes) -> None:
            hashed[0] += len(data)
            self.inner.update(data)

        def digest(self) -> bytes:
            return bytes(self.inner.digest())

        def copy(self) -> "Counting":
            return Counting(self.inner.copy())

    monkeypatch.setattr(uplink_log, "sha256", Counting)
    for seq, data in enumerate(frames):
        log.add(1, seq, data, 0.0)
    for seq in (0, 28, 29, 30, 300, 598, 599):
        hashed[0] = 0
        assert log.find(Held(1, seq, -1, sha256(b"".join(frames[: seq + 1])).digest())) == Mark(seq + 1, -1)
        assert hashed[0] <= uplink_log.HASHED_OCTETS + 9_000
    assert log.find(Held(1, 300, -1, sha256(b"".join(frames[:300])).digest())) is Stands.OTHER


@pytest.mark.parametrize(("dive", "seq"), [(3, 5), (3, 3), (1, 6), (4, 1), (2, 0)])
def test_record_that_does_not_follow_is_not_kept(dive: int, seq: int) -> None:
    """Numbers are gapless within a dive, and dives go up."""
    log = filled(6, 4)
    with pytest.raises(OutOfOrderError):
        log.add(dive, seq, b"", 0.0)
    assert log.head == Mark(10, -1)


def test_newest_programme_goes_first_and_once() -> None:
    """Of the programme only the newest record is sent, and a number comes once."""
    log = filled(2)
    log.add(0, 0, b"programme 0", 0.0)
    log.add(0, 4, b"programme 4", 0.0)
    frames, mark = log.after(Mark(1, 0), 1_000)
    assert frames == [b"programme 4", frame(1, 1)]
    assert (log.after(mark, 1_000)[0], mark) == ([], Mark(2, 4))
    with pytest.raises(OutOfOrderError):
        log.add(0, 4, b"again", 0.0)


def test_how_far_behind_is_told_in_records_and_seconds() -> None:
    """Behind by what follows, for as long as the first of it has been released."""
    log = filled(3, 2)
    assert log.behind(Mark(1, -1), 100.0) == (4, 99.0)
    assert log.behind(Mark(5, -1), 100.0) == (0, 0.0)
    assert (log.place(Mark(0, -1)), log.place(Mark(3, -1)), log.place(Mark(4, -1))) == ((0, -1), (1, 2), (3, 0))
