"""`offing journal verify`: a whole record is called whole, and whatever is wrong is found with its place."""

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dives import SECRETS
from flipped_bits import in_its_block, journal_said, proof_beside, random_bits, unfound, verify_said
from relay.__main__ import main
from relay.shell.proofs import checking
from relay.shell.proofs.checking import MOST_FAULTS, Report, check
from relay.shell.proofs.sums import write_sums
from relay.shell.record.journal import JournalFile
from relay.shell.record.secrets_file import write_secrets
from sealed_site import Relay, Site, copied, make_site


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """A site after a dive."""
    return make_site(tmp_path_factory.mktemp("site") / "a")


@pytest.fixture
def ours(site: Site, tmp_path: Path) -> Site:
    """A copy of it to be damaged."""
    return copied(site, tmp_path / "ours")


def wrong(site: Site) -> str:
    """Return what is said to be wrong."""
    return "\n".join(line for line in check(site.read()).lines if "WRONG" in line)


def files_of(site: Site) -> dict[Path, bytes]:
    """Return a site's files with what is in them: also what SQLite lays beside a database."""
    return {path: path.read_bytes() for path in site.folder.rglob("*") if path.is_file()}


def change(site: Site, statement: str, values: tuple[object, ...] = ()) -> None:
    """Alter the journal as somebody who knows SQLite does, and give it sums that agree."""
    with sqlite3.connect(site.journal) as database:
        database.execute(statement, values)
    database.close()
    write_sums(site.journal)


def test_whole_record_is_called_whole(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    """Bytes, structure, rows, minutes, recordings, logs: each is told; the command ends with 0 and changes nothing."""
    before = files_of(site)
    assert main(["journal", "verify", str(site.folder)]) == 0
    said = capsys.readouterr().out
    size = site.journal.stat().st_size
    assert said == (
        f"{site.journal}: {size} bytes, as they were when it was closed: good\n"
        f"{site.journal}: its structure, by SQLite: good\n"
        f"{site.journal}: 202 rows, in order: good\n"
        f"{site.journal}: 8 minutes sealed, each with its rows: good\n"
        f"{site.recording()}: 5 seals of the exact record: good\n"
        f"{site.recording('family')}: 5 seals of the exact record: good\n"
        "imported logs: 0, 0 bytes, each with its digest: good\n"
        "originals of stills, and files of finds: 0, each with its digest: good\n"
        "files that finds tell of: 0, each kept: good\n\n"
        "Verified: nothing is wrong, and released seals bear out every row, 1 to 202.\n"
    )
    assert files_of(site) == before


def test_flipped_bit_anywhere_is_found_with_its_place(site: Site) -> None:
    """In the journal, a proof, a recording and its footer (`flipped_bits.py` does it a thousand times each)."""
    proof, recording = proof_beside(site), site.recording()
    journal, told = site.journal.read_bytes(), recording.read_bytes()
    assert unfound(journal, random_bits(journal, 5, 3), lambda data: journal_said(site, data), in_its_block) == []
    assert unfound(told, random_bits(told, 10, 4), lambda data: verify_said(recording, data)) == []
    footer = list(range(8 * len(told) - 600, 8 * len(told), 120))
    assert unfound(told, footer, lambda data: verify_said(recording, data)) == []
    good = proof.read_bytes()
    assert unfound(good, random_bits(good, 20, 5), lambda data: verify_said(proof, data, recording)) == []
    proof.unlink()


def test_damaged_bytes_are_told_with_their_rows_and_minutes(ours: Site) -> None:
    """Of a bit in a row's bytes: the block, the rows about it, and the minute whose seal it breaks."""
    data = bytearray(ours.journal.read_bytes())
    at = data.index(ours.rows[149].data) + 30
    data[at] ^= 4
    ours.journal.write_bytes(bytes(data))
    told = wrong(ours)
    first = at >> 16 << 16
    assert f"bytes {first} to {min(first + 65_536, len(data)) - 1} were altered: rows " in told
    assert "minute 2 of the journal's clock: rows 91 to 151 aren't those that it was sealed with" in told
    assert "record 59 (dive time 180 s): it seals another record than this journal's" in told


ALTERED: dict[str, tuple[str, tuple[object, ...], str]] = {
    "a value": ("UPDATE row SET data = ? WHERE seq = 90", (b"{}",), "minute 1 of the journal's clock: rows 30 to 90"),
    "a moment": ("UPDATE row SET embargo_us = 1 WHERE seq = 90", (), "row 90: received before the row before it"),
    "the ship's time": ("UPDATE row SET wall_s = 1.5 WHERE seq = 90", (), "minute 1 of the journal's clock"),
    "a source": ("UPDATE row SET source = 'bow' WHERE seq = 90", (), "minute 1 of the journal's clock"),
    "a kind": ("UPDATE row SET kind = 'rumour' WHERE seq = 90", (), "row 90: it holds what no row holds"),
    "a row taken out": ("DELETE FROM row WHERE seq = 90", (), "row 90: missing"),
    "rows taken out": ("DELETE FROM row WHERE seq BETWEEN 90 AND 95", (), "rows 90 to 95: missing"),
    "the last rows": ("DELETE FROM row WHERE seq > 190", (), "minute 3 of the journal's clock"),
    "a root": ("UPDATE minute SET root = zeroblob(32) WHERE minute = 1", (), "minute 1 of the journal's clock"),
    "a row put in": (
        "INSERT INTO row SELECT 203, embargo_us, wall_s, source, kind, data FROM row WHERE seq = 202", (),
        "minute 3 of the journal's clock",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", ALTERED)
def test_what_somebody_alters_who_makes_the_sums_fit_is_found_by_the_seals(ours: Site, what: str) -> None:
    """Values, moments, rows taken out or put in: by row or minute, and by the heads that were released."""
    statement, values, words = ALTERED[what]
    change(ours, statement, values)
    told = wrong(ours)
    assert words in told
    assert "altered" not in told
    assert what == "a root" or "it seals another record than this journal's" in told


def test_who_alters_the_noted_roots_too_is_found_by_what_was_released(ours: Site) -> None:
    """A journal written anew, all of it in agreement with itself, isn't what the recordings sealed."""
    change(ours, "UPDATE row SET data = ? WHERE seq = 90", (b"{}",))
    change(ours, "DELETE FROM minute")
    told = wrong(ours)
    assert "aren't those" not in told
    assert "record 41 (dive time 120 s): it seals another record than this journal's" in told
    assert "record 2 (" not in told  # of before row 90


@pytest.mark.parametrize(
    ("leave", "words"),
    [
        (lambda path: path.unlink(), "there are no sums (it has none yet)"),
        (lambda path: path.write_bytes(b""), "there are no sums (a relay has it open, or wasn't ended cleanly)"),
    ],
)
def test_journal_without_sums_is_checked_without_them_and_that_is_said(
    ours: Site, leave: Callable[[Path], None], words: str
) -> None:
    """All else is found all the same."""
    leave(ours.folder / "private" / "journal.sums")
    report = check(ours.read())
    assert report.faults == 0
    assert words in report.lines[0]
    data = ours.journal.read_bytes()
    at = data.index(ours.rows[149].data) + 30
    ours.journal.write_bytes(data[:at] + b"~" + data[at + 1 :])
    assert "minute 2 of the journal's clock" in wrong(ours)


def test_journal_of_a_running_relay_is_checked_as_it_is(ours: Site) -> None:
    """With rows that are still in the write-ahead log; the relay isn't disturbed."""
    file = JournalFile(ours.folder / "private")
    last = ours.rows[-1]
    file.commit([replace(last, seq=203, embargo_us=1_200_000_000)], {})
    report = check(ours.read())
    assert report.faults == 0
    assert any("203 rows, in order" in line for line in report.lines)
    file.commit([replace(last, seq=204, embargo_us=1_200_000_000)], {})
    file.close()


def test_text_that_is_none_any_more_is_found_and_breaks_nothing(ours: Site) -> None:
    """A row's source, a table's name, a mark's: bytes that are no UTF-8 in the place of one."""
    good = ours.journal.read_bytes()
    for text in (b"station", b"CREATE TABLE row", b"clock last_us", b"row"):
        at = good.rindex(text)
        ours.journal.write_bytes(good[:at] + b"\xa8" + good[at + 1 :])
        assert "were altered: rows" in wrong(ours)


def test_sums_of_an_earlier_state_are_not_taken_for_damage(ours: Site) -> None:
    """An Offing from before there were sums wrote the journal since: it is said, and all else is checked."""
    path = ours.folder / "private" / "journal.sums"
    before = path.read_bytes()
    file = JournalFile(ours.folder / "private")
    file.commit([replace(ours.rows[-1], seq=203, embargo_us=1_200_000_000)], {})
    file.close()
    path.write_bytes(before)
    report = check(ours.read())
    assert report.faults == 0
    assert "its sums are of when it had 202 rows" in report.lines[0]


def test_damaged_sums_are_told_and_all_else_is_checked(ours: Site) -> None:
    """The journal is good; its sums can't be used."""
    path = ours.folder / "private" / "journal.sums"
    path.write_bytes(path.read_bytes().replace(b"octets", b"octetz"))
    assert wrong(ours).count("WRONG") == 1
    assert "journal.sums was altered or cut off, at byte 27" in wrong(ours)


def test_recording_that_was_altered_and_secrets_that_are_missing_are_told(ours: Site) -> None:
    """By its record; without secrets no seal can be checked, and that is a fault."""
    data = bytearray(ours.recording().read_bytes())
    data[len(data) // 2] ^= 1
    ours.recording().write_bytes(bytes(data))
    assert "altered, or not signed with this key" in wrong(ours)
    ours.recording("family").write_bytes(b"hello")
    assert f"{ours.recording('family')}: can't be read\n  WRONG: " in "\n".join(check(ours.read()).lines)
    (ours.folder / "private" / "secrets.json").unlink()
    assert "secrets.json is missing" in wrong(ours)
    write_secrets(ours.folder / "private", replace(SECRETS, key=bytes(32)))
    assert "not the file this site's journal was written with" in wrong(ours)


def test_what_is_no_journal_is_told_and_does_not_break_the_command(
    ours: Site, capsys: pytest.CaptureFixture[str]
) -> None:
    """Noise, an empty file, none at all: each in words, ended with 2."""
    for data in (b"", b"SQLite format 3\0" + bytes(5_000), bytes(range(256)) * 400):
        ours.journal.write_bytes(data)
        assert main(["journal", "verify", str(ours.expedition)]) == 2
        assert "NOT VERIFIED" in capsys.readouterr().out
    ours.journal.unlink()
    assert main(["journal", "verify", str(ours.expedition)]) == 2
    assert "nothing was received yet" in capsys.readouterr().err


def test_what_no_released_seal_bears_out_is_said(ours: Site) -> None:
    """Rows after the last seal; rows of a journal whose minutes and sums somebody took away; no recording at all."""
    file = JournalFile(ours.folder / "private")
    file.commit([replace(ours.rows[-1], seq=203, embargo_us=1_200_000_000)], {})
    file.close()
    assert check(ours.read()).verdict.startswith(
        "Verified: nothing is wrong; released seals bear out rows 1 to 202.\n"
        "Nothing outside this disk bears out rows 203 to 203: whoever writes this disk can make that anew"
    )
    change(ours, "UPDATE row SET data = ? WHERE seq = 100", (b"{}",))
    change(ours, "DELETE FROM minute")
    (ours.folder / "private" / "journal.sums").unlink()
    for audience in ("public", "family"):
        ours.recording(audience).unlink()
    report = check(ours.read())
    assert report.faults == 0
    assert f"{ours.journal}: no minute's seal was noted: by them its rows can't be checked" in report.lines
    assert "no released seal is here.\nNothing outside this disk bears out rows 1 to 203" in report.verdict


def test_hole_in_the_noted_seals_is_told(ours: Site) -> None:
    """A relay notes each minute that has a leaf; one that is taken out is missing."""
    change(ours, "DELETE FROM minute WHERE minute = 1")
    assert "before minute 2 of the journal's clock: the seals of minutes are missing" in wrong(ours)


def test_write_ahead_log_beside_a_journal_that_was_closed_is_told(ours: Site) -> None:
    """What lies there is read in place of the rows, and the sums know nothing of it."""
    path = ours.folder / "private" / "journal.sums"
    sums, good = path.read_bytes(), ours.journal.read_bytes()
    file = JournalFile(ours.folder / "private")
    file._db.execute("UPDATE row SET data = ? WHERE seq = 202", (b"{}",))
    log = ours.journal.with_name("journal.db-wal").read_bytes()
    file.close()
    ours.journal.write_bytes(good)
    path.write_bytes(sums)
    ours.journal.with_name("journal.db-wal").write_bytes(log)
    assert f"bytes 0 to {len(log) - 1} of journal.db-wal: a journal that was closed has none" in wrong(ours)


def test_recording_of_another_journal_is_told_once(ours: Site) -> None:
    """Not seal by seal."""
    change(ours, "UPDATE row SET data = ? WHERE seq = 1", (b"{}",))
    told = wrong(ours)
    assert told.count("none of its 5 seals is of this journal: it's another journal's, or this one was made anew") == 2
    assert "it seals another record" not in told


def test_many_faults_are_cut_and_counted() -> None:
    """Twenty of a check are told, and how many more there are; at the limit all."""
    for count, more in ((MOST_FAULTS, 0), (MOST_FAULTS + 1, 1)):
        report = Report()
        report.add("rows", [f"row {at}" for at in range(count)])
        assert report.faults == count
        assert len(report.lines) == 1 + MOST_FAULTS + more
        assert (f"  WRONG: and {more} more" in report.lines) is bool(more)


def test_check_beside_a_relay_that_writes_meanwhile_finds_nothing_wrong(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rows, minutes and seals that come between any two of its steps are no faults; nor is a beat that lags."""
    for upto in (90, 150):
        relay = Relay(tmp_path / str(upto))
        relay.take(upto)
        for name in ("lengths", "_check_sums", "_check_file", "_secrets", "_noted", "_last_us", "_check_released"):
            step = getattr(checking, name)

            def after(*given: Any, step: Callable[..., Any] = step, relay: Relay = relay, **named: Any) -> Any:
                found = step(*given, **named)
                relay.take(12)
                return found

            monkeypatch.setattr(checking, name, after)
        report = check(relay.site.read())
        monkeypatch.undo()
        relay.end()
        assert [line for line in report.lines if "WRONG" in line] == []
        assert report.rows > upto
        assert check(relay.site.read()).rows == 202
