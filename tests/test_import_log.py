"""`offing journal import` and `offing record`, as commands: what is kept, refused and said, and nothing exact."""

import gzip
import json
import re
import sqlite3
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from acoustic_link import over_acoustic_link
from expeditions import RIGHT
from nmea_sentences import sentence
from relay.__main__ import main
from relay.core.model import Row, RowKind
from relay.shell.record.journal import JournalFile
from relay.shell.record.recovered import NAME, recovered_logs
from tracks_to_station_lines import convert, read_rows, station_messages

FIX = {"vehicle": "Moth", "latitude_deg": -38.61472, "longitude_deg": -21.93306}


class Site:
    """A folder with an expedition file and a journal, and the commands on it."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self._capsys = folder, capsys
        (folder / "EXPEDITION.toml").write_text(RIGHT, encoding="utf-8")
        self.private = folder / "private"
        self.journal([])

    def journal(self, messages: list[tuple[float, dict[str, Any]]]) -> None:
        """Let messages be received live, at so many seconds."""
        file = JournalFile(self.private)
        rows = [
            Row(at, round(s * 1e6), 5_000.0 + s, "station", RowKind.WHOLE, json.dumps(message).encode() + b"\n")
            for at, (s, message) in enumerate(messages, file.last()[0] + 1)
        ]
        file.commit(rows, {})
        file.close()

    def log(self, name: str, data: bytes) -> Path:
        """Write a log as a vehicle might have brought it."""
        path = self.folder / name
        path.write_bytes(data)
        return path

    def messages(self, *messages: dict[str, Any], name: str = "moth.jsonl") -> Path:
        """Write a log of station messages."""
        return self.log(name, b"".join(json.dumps(message).encode() + b"\n" for message in messages))

    def run(self, command: str, *words: object, vehicle: str = "Moth") -> tuple[int, str, str]:
        """Run a command on this site; return its code and what it said."""
        first, *rest = [str(word) for word in words] or [str(self.folder / "EXPEDITION.toml")]
        code = main([*command.split(), first, "--vehicle", vehicle, *rest])
        said = self._capsys.readouterr()
        return code, said.out, said.err

    def take(self, file: Path, *words: object, vehicle: str = "Moth") -> tuple[int, str, str]:
        """Import a log."""
        return self.run("journal import", self.folder / "EXPEDITION.toml", file, *words, vehicle=vehicle)


@pytest.fixture
def site(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Site:
    """Return a site with an empty journal."""
    return Site(tmp_path, capsys)


def test_record_of_a_published_track_equals_its_log_after_the_import(site: Site, shared_data: Path) -> None:
    """The glider's log (C-PROOF): some over an acoustic link, then the import; printed, it is the table's cells."""
    table = shared_data / "glider-inlet" / "track.csv.gz"
    log = site.folder / "moth.jsonl"
    convert(table, log, "Moth")
    site.journal(over_acoustic_link(list(station_messages(read_rows(table), "Moth"))))
    before = json.loads(site.run("record", site.folder, "--json")[1])["record"]
    assert 1_000 < before["reports"] == before["live_reports"] < 2_000
    code, said, _ = site.take(log, "--who", "Ines", "--json")
    told = json.loads(said)
    assert (code, told["log"]["reports"], told["log"]["positions"]) == (0, 4_716, 783)
    assert (told["log"]["octets"], told["log"]["sha256"]) == (log.stat().st_size, sha256(log.read_bytes()).hexdigest())
    record = told["record"]
    assert (record["reports"], record["both"], record["differing"]) == (4_716, before["reports"], 0)
    assert record["minutes_gained"] > 100
    printed = [json.loads(line) for line in site.run("record", site.folder, "--print")[1].splitlines()]
    ours = {"clock": "vehicle", "from": "log"}
    assert printed == [{**message, **ours} for message in station_messages(read_rows(table), "Moth")]


def test_import_keeps_the_bytes_of_the_file_and_who_brought_it(site: Site) -> None:
    """A gzipped log is kept gzipped, as it is; its name, size, digest and times are with it."""
    line = json.dumps({"t": 5.0, **FIX}).encode() + b"\n"
    file = site.log("moth.jsonl.gz", gzip.compress(line))
    assert site.take(file, "--who", "Ines")[0] == 0
    log = recovered_logs(site.private, "Moth")[0]
    assert (log.data, log.name, log.who) == (file.read_bytes(), "moth.jsonl.gz", "Ines")
    assert (log.first_s, log.last_s, log.source.format) == (5.0, 5.0, "station-json")
    assert log.wall_s > 1.7e9


def test_import_of_the_same_file_says_so_and_changes_nothing(site: Site) -> None:
    """By another name and another hand, too."""
    file = site.messages({"t": 5.0, **FIX})
    site.take(file, "--who", "Ines")
    before = (site.private / NAME).read_bytes()
    code, said, _ = site.take(site.log("copy.jsonl", file.read_bytes()), "--who", "Tom")
    assert code == 0
    assert re.search(r"imported already, by Ines on \d{4}-.* UTC, as moth\.jsonl: nothing was changed", said)
    assert (site.private / NAME).read_bytes() == before


def test_import_and_record_say_no_position_unless_asked(site: Site) -> None:
    """Neither words nor JSON hold a coordinate; `--print` does."""
    site.journal([(1.0, {"t": 4.0, **FIX})])
    file = site.messages({"t": 5.0, **FIX, "depth_m": 811.37}, {"t": 6.0, **FIX})
    said = "".join(site.take(file)[1:] + site.take(file, "--json")[1:] + site.run("record", site.folder)[1:])
    assert "gaps filled" in said
    assert not re.search(r"-38\.6|-21\.9|811\.37", said)
    assert "-38.61472" in site.run("record", site.folder, "--print")[1]


def test_import_says_what_the_log_covers_in_words(site: Site) -> None:
    """From when to when by the vehicle's clock, positions, the minutes gained, what was not read and why."""
    site.journal([(1.0, {"t": 30.0, **FIX}), (2.0, {"t": 65.0, "vehicle": "Moth", "depth_m": 3.0})])
    depth = {"t": 65.0, "vehicle": "Moth", "depth_m": 3.04}
    file = site.messages({"t": 29.0, **FIX}, depth, {"t": 130.0, **FIX}, {"depth": 1}, {"t": 9.0, "vehicle": "Lantern"})
    code, said, err = site.take(file)
    assert (code, err) == (0, "")
    assert "1970-01-01 00:00:29 UTC to 1970-01-01 00:02:10 UTC" in said
    assert "3, 2 of them with a position" in said
    assert "in 1 minute of the clock, where live reports had no position" in said
    assert re.search(r"rejected +1 unknown field", said)
    assert re.search(r"live reports +2, 1 of an instant that a log tells, too \(1 of them otherwise", said)
    assert "CAUTION" not in said
    assert "Nothing that was released, or will be, is changed by it." in said


def test_log_of_another_time_is_kept_with_a_caution(site: Site) -> None:
    """Perhaps a wrong file, perhaps a clock that was wrong: it is the operator who knows."""
    site.journal([(1.0, {"t": 30.0, **FIX})])
    assert "CAUTION: no live report of Moth lies between these times" in site.take(site.messages({"t": 1e9, **FIX}))[1]


ANOTHER = {"t": 5.0, "vehicle": "Lantern", "depth_m": 1.0}
WRONG = [
    ("log.xyz", b"x", (), r"log\.xyz: the name does not tell what is in it; rename it"),
    ("log.jsonl", b"", (), r"log\.jsonl: the file is empty"),
    ("log.jsonl.gz", b"no gzip", (), r"log\.jsonl\.gz: not a whole gzip file .*copy it again"),
    ("log.jsonl", b'{}\n{"depth": 1}\n', (), r"1 unknown field.*at line 2: unknown field.*as the vehicle wrote it"),
    ("log.msgpack", b"\xc1\xc1", (), r"read as station-msgpack.*at byte 0: not MessagePack"),
    ("log.tlog", b"not a telemetry log", (), r"nothing in it is a report, read as mavlink"),
    ("log.nmea", b"\x00\x01\x02" * 9, (), r"nothing in it is a report, read as nmea0183"),
    ("log.jsonl", json.dumps(ANOTHER).encode(), (), r"its reports are of Lantern, none is of Moth: check --vehicle"),
    ("log.jsonl", b'{"depth_m": 1}', (), r"no report in it tells its time.*give a log with times"),
    ("log.nmea", sentence("GPGLL,3836.88,S,02155.98,W,120000.00,A,A"), (), r"no date: say on which day .*--date"),
    ("log.nmea", b"x", ("--date", "4 May"), r"--date 4 May: write the day as YYYY-MM-DD"),
    ("log.jsonl", b"{}", ("--feed", "sonar"), r"--feed sonar: .*feeds position, station: name one"),
    ("log.jsonl", b"{}", ("--who", "x" * 81), r"--who: a name of at most 80 characters"),
]


@pytest.mark.parametrize(("name", "data", "words", "why"), WRONG)
def test_wrong_file_is_refused_with_what_where_and_remedy(
    name: str, data: bytes, words: tuple[str, ...], why: str, site: Site
) -> None:
    """Code 2, one message, and not even a file for logs is made."""
    code, said, err = site.take(site.log(name, data), *words)
    assert (code, said) == (2, "")
    assert re.search(why, err), err
    assert not (site.private / NAME).exists()


def test_wrong_vehicle_folder_or_site_is_refused(site: Site, tmp_path_factory: pytest.TempPathFactory) -> None:
    """A name that isn't in the expedition file, two expedition files, a site on which no relay ran, no file."""
    file = site.messages({"t": 5.0, **FIX})
    assert "knows Lantern, Moth: name one of them" in site.take(file, vehicle="Nobody")[2]
    assert "there is no such file" in site.take(site.folder / "gone.jsonl")[2]
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    (elsewhere / "EXPEDITION.toml").write_text(RIGHT)
    assert "holds no journal" in site.run("journal import", elsewhere, file)[2]
    (elsewhere / "other.toml").write_text(RIGHT)
    assert "holds 2 files that end in .toml" in site.run("journal import", elsewhere, file)[2]


def test_nameless_log_is_not_imported_as_two_vehicles(site: Site) -> None:
    """Sentences say nothing of whose they are: the same file can't have been written by both."""
    file = site.log("log.nmea", sentence("GPRMC,120000.00,A,3836.88,S,02155.98,W,0.0,0.0,040526,,,A"))
    assert site.take(file)[0] == 0
    code, _, err = site.take(file, vehicle="Lantern")
    assert (code, "was imported as the log of Moth" in err) == (2, True)
    both = site.messages({"t": 5.0, **FIX}, {"t": 5.0, **FIX, "vehicle": "Lantern"})
    assert [site.take(both, vehicle=name)[0] for name in ("Moth", "Lantern")] == [0, 0]


def test_log_is_read_as_the_vehicles_feed_of_its_format_is(site: Site) -> None:
    """Lantern's feed says that its sounder tells altitude; Moth has no such feed, so its sounder isn't guessed."""
    burst = sentence("GPRMC,120000.00,A,3836.88,S,02155.98,W,0.0,0.0,040526,,,A") + sentence("SDDPT,12.0,0.0")
    site.take(site.log("log.nmea", burst), vehicle="Lantern")
    printed = site.run("record", site.folder, "--print", vehicle="Lantern")[1]
    assert json.loads(printed.splitlines()[1])["altitude_m"] == 12.0
    told = json.loads(site.take(site.log("moth.nmea", b"\r\n" + burst), "--json")[1])
    assert told["log"]["passed_over"]["DPT: sounder not assigned"] == 1
    named = json.loads(site.take(site.log("moth.dat", b"\r\n\r\n" + burst), "--feed", "position", "--json")[1])
    assert named["log"]["reports"] == 2


def test_record_without_anything_says_so_and_a_broken_journal_does(site: Site) -> None:
    """An empty record is none; a journal that can't be read costs no import."""
    assert re.search(r"reports +none", site.run("record", site.folder)[1])
    (site.private / "journal.db").write_bytes(b"no database at all, but long enough to look like a page" * 100)
    code, _, err = site.take(site.messages({"t": 5.0, **FIX}))
    assert (code, "what was imported is kept" in err) == (2, True)
    assert len(recovered_logs(site.private)) == 1


def test_import_while_the_journal_is_being_written_waits_for_nobody(site: Site) -> None:
    """A writer in the middle of its transaction neither waits for an import nor keeps it from its work."""
    file = JournalFile(site.private)
    writer = sqlite3.connect(site.private / "journal.db", isolation_level=None)
    writer.execute("BEGIN IMMEDIATE")
    writer.execute("INSERT INTO mark VALUES ('a test', '1')")
    assert site.take(site.messages({"t": 5.0, **FIX}))[0] == 0
    writer.execute("COMMIT")
    writer.close()
    assert file.marks() == {"a test": "1"}
    file.close()
