"""The program that lets every write and sync fail, in short, and what tells it what is wrong."""

import errno
import logging
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import msgpack
import pytest

import faults_disk
from disk_checks import wrong_by_the_rules, wrong_journal, wrong_releases
from disk_life import END_US, SetTime, Told, day, lived, make_site, noted, opened
from failing_disk import ROOM, SYNC, scratch
from left_behind import SAID, WRITTEN
from relay.core.model import Row, RowKind
from small_disk import in_a_namespace, possible


@pytest.fixture
def short_path() -> Iterator[Path]:
    """Give a folder with a short name: a socket's path has at most 107 octets (unix(7))."""
    with TemporaryDirectory(prefix="offing-") as folder:
        yield Path(folder)


@pytest.mark.slow
def test_faults_of_the_disk_break_no_rule(short_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write, those of eight seconds, a sync fail in turn: what was accepted is there, nothing is early or undurable.

    The shim is not ours alone to trust: errors are those of write(2) and fsync(2), made at the C library's own calls.
    """
    monkeypatch.setattr(faults_disk, "possible", lambda: "it has a test of its own")
    outcome = faults_disk.run(3, 21, short_path)
    assert (outcome.tried, outcome.looked, outcome.wrong) == (3, 3, [])


@pytest.mark.slow
@pytest.mark.skipif(bool(possible()), reason=possible() or "it can be done here")
def test_small_disk_that_is_full_and_then_read_only_breaks_no_rule(short_path: Path) -> None:
    """A tmpfs of the kernel's own, filled up under a running relay and remounted read-only before a start."""
    assert in_a_namespace(short_path) == []


def test_faults_are_every_write_and_every_sync() -> None:
    """Each call is in the list once by itself, and some with those after it."""
    every = faults_disk.faults(5, 3)
    alone = [(fault.kind, fault.number) for fault in every if not fault.lasts]
    assert alone == [(ROOM, number) for number in range(1, 6)] + [(SYNC, number) for number in (1, 2, 3)]
    assert {fault.error for fault in every if fault.lasts} == {errno.ENOSPC, errno.EROFS}


async def _day_that_says(path: Path, words: str, told: Told) -> None:
    life = await opened(path, SetTime(), told)
    await life.play(day(), END_US)
    await life.settle()
    logging.getLogger("relay").warning("%s", words)
    await life.end()


@pytest.mark.parametrize(
    ("words", "rules"), [("the journal waits", set()), ("looked at -38.60004, -21.9 again", {"R1"})]
)
def test_what_a_life_says_is_held_to_the_rules(words: str, rules: set[str], short_path: Path) -> None:
    """Its log is kept and a place in it is found; of stations, which these lives don't have, nothing is claimed."""
    place = scratch(short_path / "one")
    path = make_site(place / "site")
    assert lived(partial(_day_that_says, path, words), place / "notes", 1) == ""
    assert words in (place / SAID / "lives").read_text()
    assert {found[:2] for found in wrong_by_the_rules(place, noted(place / "notes"))} == rules
    assert not (place / WRITTEN).exists()


ROW = b'{"note": "n7"}\n'
OTHER = b'{"note": "n8"}\n'


def note_record(seq: int) -> bytes:
    """Return a record of an annotation."""
    return bytes(msgpack.packb([1, seq, 2, 0.0, ["station", "n7"], b""]))


def released(seq: int, true_us: int, durable: int) -> list[object]:
    """Return the note of a release."""
    return ["released", "public", 1, seq, note_record(seq), true_us, durable, true_us]


LIFE = [["opening", 0], ["accepted", 1_000_000, 1, ROW, 1_000_000]]


def test_checks_find_what_is_early_undurable_or_told_differently() -> None:
    """The delay is four seconds to the public; a row counts once it was handed on; a record has one form."""
    assert wrong_releases([*LIFE, released(0, 5_000_000, 1)]) == []
    assert wrong_releases([*LIFE, released(0, 4_999_999, 1)]) == ["n7 left 1 us early to public"]
    assert wrong_releases([*LIFE, released(0, 5_000_000, 0)]) == ["n7 left before it was durable"]
    again = [*released(0, 6_000_000, 1)[:4], note_record(1), 6_000_000, 1, 6_000_000]
    found = wrong_releases([*LIFE, released(0, 5_000_000, 1), again])
    assert found == ["record 0 of dive 1 was told public differently"]


def test_checks_find_what_is_lost_or_doubled() -> None:
    """All that was accepted is owed; behind a power cut all that was handed on."""
    kept = [Row(1, 1_000_000, 0.0, "station", RowKind.STREAM, ROW)]
    two = [*LIFE, ["accepted", 2_000_000, 2, OTHER, 2_000_000], ["durable", 1]]
    assert wrong_journal(two, kept, False) == ["n8 is lost"]
    assert wrong_journal(two, kept, True) == []
    assert wrong_journal([*two, ["durable", 2]], kept, True) == ["n8 is lost"]
    twice = wrong_journal(LIFE, [*kept, *kept], False)
    assert twice == ["the journal has rows twice, or out of order"]
