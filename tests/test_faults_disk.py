"""The program that lets every write and sync fail, in short, and what tells it what is wrong."""

import errno
import json
import logging
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import msgpack
import pytest

import disk_checks
import faults_disk
from disk_checks import kept_frames, wrong_by_the_rules, wrong_journal, wrong_recordings, wrong_releases
from disk_life import END_US, SetTime, Step, Told, day, lived, make_site, noted, opened
from failing_disk import ROOM, SHORT, SYNC, built, scratch
from left_behind import RECEIPTS, SAID, WRITTEN
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
    """Each call is in the list by itself and with those after it; each write that can be is done by half as well."""
    every = faults_disk.faults(5, 3, 4)
    alone = [(fault.kind, fault.number) for fault in every if not fault.lasts and fault.kind != SHORT]
    lasting = {(fault.kind, fault.number, fault.error) for fault in every if fault.lasts}
    assert alone == [(ROOM, number) for number in range(1, 6)] + [(SYNC, number) for number in (1, 2, 3)]
    assert lasting >= {(ROOM, number, errno.ENOSPC) for number in range(1, 6)}
    assert lasting >= {(SYNC, number, errno.EIO) for number in (1, 2, 3)} | {(ROOM, 2, errno.EROFS)}
    assert sorted(fault.number for fault in every if fault.kind == SHORT) == [1, 2, 3, 4]


WRITES = """
import os, sys
from pathlib import Path
from failing_disk import FailingDisk, SHORT, SYNC
disk, folder, come = FailingDisk(), Path(sys.argv[1]), []
disk.watch(folder)
out = os.open(folder / "one", os.O_WRONLY | os.O_CREAT)
def tried(call):
    try:
        come.append(call())
    except OSError as error:
        come.append(error.errno)
for error, count in ((0, 1), (28, 2)):
    disk.arm(SHORT, 2, count, error)
    for _ in range(5):
        tried(lambda: os.write(out, b"123456789"))
disk.arm(SYNC, 1, 2, 5)
for _ in range(3):
    tried(lambda: os.fsync(out))
print(come)
"""


def test_shim_does_a_write_by_half_and_lets_syncs_fail_for_a_while(tmp_path: Path) -> None:
    """A short write is told as such, and its octets are on the disk (write(2)); then the rest goes, or ENOSPC."""
    (folder := tmp_path / "disk").mkdir()
    ours = {**os.environ, "LD_PRELOAD": str(built(tmp_path)), "PYTHONPATH": str(Path(__file__).parent)}
    command = [sys.executable, "-c", WRITES, str(folder)]
    told = subprocess.run(command, env=ours, capture_output=True, text=True, check=True).stdout
    by_half = [9, 4, 9, 9, 9, 9, 4, errno.ENOSPC, errno.ENOSPC, 9]
    assert told.strip() == str([*by_half, errno.EIO, errno.EIO, None])
    assert (folder / "one").stat().st_size == sum(each for each in by_half if each < errno.ENOSPC)


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


async def _day_held_from_the_first(path: Path, told: Told) -> None:
    hold = json.dumps({"do": "hold", "audience": "families", "who": "Ada"}).encode()
    life = await opened(path, SetTime(), told)
    await life.play([Step(1_500_000, hold, True), *(step for step in day() if not step.decides)], END_US)
    await life.settle()
    await life.end()


def test_audience_held_from_the_first_has_no_follower_to_ask(short_path: Path) -> None:
    """It was told nothing, by the disk, too; one that was told something has a follower, whom its notes must show."""
    place = scratch(short_path / "one")
    path = make_site(place / "site")
    assert lived(partial(_day_held_from_the_first, path), place / "notes", 1) == ""
    notes = noted(place / "notes")
    assert {note[1] for note in notes if note[0] == "released"} == {"public"}
    assert wrong_by_the_rules(place, notes) == []
    shutil.rmtree(place / RECEIPTS)
    unheard = [note for note in notes if note[0] != "released"]
    assert "R5: receipts of a client are missing: follower-public" in wrong_by_the_rules(place, unheard)


async def _nothing_comes(path: Path, told: Told) -> None:
    await (await opened(path, SetTime(), told)).end()


def test_run_of_which_nothing_was_owed_breaks_no_rule_by_a_power_cut_alone(short_path: Path) -> None:
    """An empty journal is right where no row was handed on before the cut; else it isn't, nor without a cut."""
    place = scratch(short_path / "one")
    assert lived(partial(_nothing_comes, make_site(place / "site")), place / "notes", 1) == ""
    notes = noted(place / "notes")
    assert wrong_by_the_rules(place, notes, power_cut=True) == []
    assert "R5: the journal is empty" in wrong_by_the_rules(place, [*notes, ["durable", 1]], power_cut=True)
    assert "R5: the journal is empty" in wrong_by_the_rules(place, notes)


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


FOOTER = bytes(msgpack.packb(["end", 2]))


@pytest.mark.parametrize("closed", [True, False])
@pytest.mark.parametrize("behind", [b"", b"\xc1garbage", FOOTER[:3], note_record(2)[:5], bytes(4)])
def test_checks_find_what_stands_behind_the_end_of_a_recording(
    behind: bytes, closed: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Octets behind the footer, or a torn tail, are no part of a whole recording: no record, half of one, or zeros."""
    frames = [note_record(0), bytes(msgpack.packb([1, 1, 3 if closed else 2, 0.0, [], b""]))]
    monkeypatch.setattr(disk_checks, "grown_again", lambda path, rows: {("public", 1): frames})
    path = tmp_path / "released" / "public" / "dive-001.recording"
    path.parent.mkdir(parents=True)
    path.write_bytes(b"".join(frames) + (FOOTER if closed else b"") + behind)
    assert (wrong_recordings(tmp_path / "EXPEDITION.toml", [], []) == []) == (behind == b"")
    assert kept_frames(path)[1] == (closed and behind == b"")
