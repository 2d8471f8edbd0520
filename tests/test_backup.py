"""A backup beside a relay that takes input: of one moment, encrypted, nothing lost; and a ship goes on from it."""

import asyncio
import contextlib
import json
import os
import sqlite3
import subprocess
import sys
import tarfile
from pathlib import Path

import pytest

import relay.shell.locked.backup as backing
from dives import SECOND, SECRETS, dive_rows
from expeditions import RIGHT, changed
from peers import until
from relay.__main__ import main
from relay.core.errors import LockingError, OperatorError
from relay.core.model import Row
from relay.shell.locked.backup import BackedUp, back_up, copies_left, copy_database
from relay.shell.locked.identities import new_identity, read_identity
from relay.shell.locked.locking import open_file
from relay.shell.locked.opening import Opened, open_locked
from relay.shell.locked.secrets_lock import lock_secrets
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.proofs.sums import damaged, read_sums
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.journal import JournalFile, read_rows
from relay.shell.record.read_only import last_row, reading
from relay.shell.record.recovered import NAME as RECOVERED
from relay.shell.record.secrets_file import open_secrets, secrets_path, write_secrets
from relay.shell.record.whole_file import new_file
from ship_process import ShipProcess, dialled, free_port, ship_process
from test_import_changes_nothing import PLAN, brought_back
from virtual_ship import AT_ONCE, Disk, Do, Event, Voyage
from virtual_ship import Follower as Ashore


def _site(folder: Path, text: str = RIGHT, rows: int = 0) -> Expedition:
    """Return a site with a journal, secrets, and a key to receive with beside it."""
    folder.mkdir(exist_ok=True)
    (folder / "EXPEDITION.toml").write_text(text)
    expedition = read_expedition(folder / "EXPEDITION.toml")
    file = JournalFile(expedition.private)
    file.commit(dive_rows(rows), {})
    file.close()
    open_secrets(expedition.private, None)
    return expedition


@pytest.fixture
def me(tmp_path: Path) -> tuple[str, Path]:
    """Return the line of somebody who may open, and the file of the key."""
    return new_identity(tmp_path / "me.key"), tmp_path / "me.key"


def _backed_up(expedition: Expedition, target: Path, me: tuple[str, Path]) -> tuple[BackedUp, Opened]:
    """Back up and open it beside."""
    done = back_up(expedition, target, [me[0]], lambda *_: None)
    return done, open_locked(target, target.with_suffix(""), read_identity(me[1]))


def _files(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_all_that_a_site_is_comes_back_as_it_was(tmp_path: Path, me: tuple[str, Path]) -> None:
    """Expedition file, journal, secrets, a recovered log, pictures, whatever lies there, and all that was released."""
    folder = tmp_path / "ship"
    expedition = _site(folder, rows=40)
    brought_back(folder, "log.jsonl", 10)
    for name in (
        "private/stills/a.jpg",
        "private/finds/b.png",
        "private/desk.token",
        "released/public/programme.record",
    ):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(os.urandom(3_000))
    (folder / "released/public/dive-001.recording").write_bytes(os.urandom(200_000))
    done, opened = _backed_up(expedition, tmp_path / "site.age", me)
    assert (done.rows, opened.rows, opened.elsewhere) == (40, 40, ())
    before, after = _files(folder), _files(opened.place)
    assert set(after) == {"offing-backup.json", *(set(before) - {"log.jsonl", "private/journal.lock"})} - {
        name for name in before if "db-" in name
    }
    same = set(after) - {"offing-backup.json", "private/journal.db", "private/journal.sums", "private/recovered.db"}
    assert {name: after[name] for name in same} == {name: before[name] for name in same}
    assert list(read_rows(opened.place / "private" / JOURNAL)) == list(read_rows(folder / "private" / JOURNAL))
    assert _logs(opened.place) == _logs(folder) != []
    sums = read_sums(opened.place / "private" / JOURNAL)
    assert sums is not None and list(damaged(opened.place / "private" / JOURNAL, sums)) == []
    assert copies_left(expedition.private) == []


def _logs(folder: Path) -> list[tuple[object, ...]]:
    with contextlib.closing(sqlite3.connect(folder / "private" / RECOVERED)) as database:
        return database.execute("SELECT * FROM log").fetchall()


def test_what_other_commands_are_making_is_left_out(tmp_path: Path, me: tuple[str, Path]) -> None:
    """A file under way, and the backups and exports that lie there encrypted, aren't backed up; all else is."""
    expedition = _site(tmp_path / "ship", rows=5)
    for name in (".hidden", "earlier.age", "search.gpkg", "reading-list.txt", "exporting-how.txt"):
        (expedition.private / name).write_bytes(b"x")
    with new_file(expedition.private / "under way"):
        _, opened = _backed_up(expedition, tmp_path / "site.age", me)
        assert len(copies_left(expedition.private)) == 1
    names = {path.name for path in (opened.place / "private").iterdir()}
    kept = {".hidden", "search.gpkg", "reading-list.txt", "exporting-how.txt"}
    assert names == {JOURNAL, "journal.sums", "secrets.json", *kept}


@pytest.mark.parametrize("name", ["plan.db", "scan.age", "site.db-wal", "journal.lock", "recovered.db", ".plan.svg"])
def test_files_of_finds_come_back_byte_for_byte(name: str, tmp_path: Path, me: tuple[str, Path]) -> None:
    """Whatever they are called: a drawing that is a database isn't copied by page, nor is one that is none a fault."""
    expedition = _site(tmp_path / "ship", rows=5)
    with contextlib.closing(sqlite3.connect(tmp_path / "drawing")) as database:
        database.executescript("PRAGMA page_size=512; CREATE TABLE a (b); INSERT INTO a VALUES (zeroblob(9000))")
        database.executescript("DELETE FROM a")  # free pages, which a copy by SQLite would write otherwise
    for folder, data in (("finds", b"no database"), ("finds/below", (tmp_path / "drawing").read_bytes())):
        (expedition.private / folder).mkdir()
        (expedition.private / folder / name).write_bytes(data)
    _, opened = _backed_up(expedition, tmp_path / "site.age", me)
    assert _files(opened.place / "private" / "finds") == _files(expedition.private / "finds") != {}


def test_nothing_of_it_is_plain_outside_the_private_folder(tmp_path: Path, me: tuple[str, Path]) -> None:
    """The file holds no text of journal, secrets or names, and whoever lacks the key opens nothing."""
    expedition = _site(tmp_path / "ship", rows=40)
    done, _ = _backed_up(expedition, tmp_path / "site.age", me)
    data = (tmp_path / "site.age").read_bytes()
    site = open_secrets(expedition.private, None)
    for told in (b"latitude", b"journal.db", b"EXPEDITION", b"Harrow", site.key, site.key.hex().encode()):
        assert told not in data
    new_identity(tmp_path / "other.key")
    with pytest.raises(LockingError, match="somebody else's key"):
        open_locked(tmp_path / "site.age", tmp_path / "theirs", read_identity(tmp_path / "other.key"))
    assert not (tmp_path / "theirs").exists() and done.files >= 4


def test_folders_that_lie_elsewhere_are_brought_along_and_said(tmp_path: Path, me: tuple[str, Path]) -> None:
    """A private folder on another disk is in the backup under a name of its own, with what to set in the file."""
    text = changed('private = "private"', f'private = "{tmp_path / "far" / "away"}"')
    expedition = _site(tmp_path / "ship", text, rows=5)
    _, opened = _backed_up(expedition, tmp_path / "site.age", me)
    assert opened.elsewhere == ("private",)
    assert len(list(read_rows(opened.place / "private" / JOURNAL))) == 5


def test_a_backup_is_of_one_moment_though_rows_come_in_between_its_pages(tmp_path: Path) -> None:
    """Rows written while the journal is copied, by the writer that has it open, are in none of the copy."""
    file = JournalFile(tmp_path / "private")
    first = [Row(seq, seq, 0.0, "station", "stream", os.urandom(500)) for seq in range(1, 9_001)]  # type: ignore[arg-type]
    file.commit(first, {})
    steps = 0

    class Reader(sqlite3.Connection):
        def backup(self, target: sqlite3.Connection, *, pages: int, sleep: float) -> None:  # type: ignore[override]
            def more(*_: int) -> None:
                nonlocal steps
                steps += 1
                at = 9_000 + steps
                file.commit([Row(at, at, 0.0, "station", "stream", os.urandom(500))], {})  # type: ignore[arg-type]

            super().backup(target, pages=50, sleep=0.0, progress=more)

    connect = sqlite3.connect
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sqlite3, "connect", lambda *words, **more: connect(*words, **more, factory=Reader))
        copy_database(tmp_path / "private" / JOURNAL, tmp_path / "copy.db")
    rows = list(read_rows(tmp_path / "copy.db"))
    assert steps > 20 and rows == first
    assert file.last()[0] == 9_000 + steps
    file.close()


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        (lambda site, to: back_up(site, site.path.parent / "a.age", [], _quiet), "nobody is named"),
        (lambda site, to: back_up(site, site.path, [to], _quiet), "is there already"),
        (lambda site, to: back_up(site, site.released / "a.age", [to], _quiet), "everything is public"),
        (lambda site, to: back_up(site, site.private / "secrets.age", [to], _quiet), "a file of the site's own"),
        (lambda site, to: back_up(site, site.path.parent / "no" / "a.age", [to], _quiet), "is no folder"),
    ],
)
def test_what_stands_in_the_way_is_said_and_nothing_is_left(
    fault: object, why: str, tmp_path: Path, me: tuple[str, Path]
) -> None:
    """Nobody to encrypt to, a file that is there, a folder that isn't: in words, with no copy left behind."""
    expedition = _site(tmp_path / "ship", rows=5)
    before = set(_files(tmp_path))
    with pytest.raises(OperatorError, match=why):
        fault(expedition, me[0])  # type: ignore[operator]
    assert {name for name in _files(tmp_path) if "db-" not in name} <= before
    assert copies_left(expedition.private) == []


def _quiet(done: int, octets: int) -> None:
    """Show no progress."""


def test_a_site_without_a_journal_and_a_disk_without_room_are_said(
    tmp_path: Path, me: tuple[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is nothing to back up yet; or the copy would stop the release, at the limit and a byte below."""
    (tmp_path / "EXPEDITION.toml").write_text(RIGHT)
    with pytest.raises(OperatorError, match="has no journal yet"):
        back_up(read_expedition(tmp_path / "EXPEDITION.toml"), tmp_path / "a.age", [me[0]], _quiet)
    expedition = _site(tmp_path / "ship", rows=5)
    databases = sum(path.stat().st_size for path in expedition.private.glob("*.db*"))
    whole = sum(path.stat().st_size for path in expedition.private.rglob("*"))
    needed = 2 * databases + whole + backing.KEEP_FREE_BYTES

    class Disk:
        free = needed - 1

    monkeypatch.setattr(backing.shutil, "disk_usage", lambda path: Disk)
    with pytest.raises(OperatorError, match="or the release stops"):
        back_up(expedition, tmp_path / "a.age", [me[0]], _quiet)
    Disk.free = needed
    assert back_up(expedition, tmp_path / "a.age", [me[0]], _quiet).rows == 5


def test_a_recording_that_grows_is_as_long_as_it_was_before_the_journal(
    tmp_path: Path, me: tuple[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What leaves while the journal is copied isn't in the backup: its journal may not grow it again."""
    expedition = _site(tmp_path / "ship", rows=5)
    recording = tmp_path / "ship/released/public/dive-001.recording"
    recording.parent.mkdir(parents=True)
    recording.write_bytes(b"told")
    copy = copy_database

    def meanwhile(source: Path, target: Path) -> None:
        copy(source, target)
        recording.write_bytes(b"told and more")
        (recording.parent / "dive-002.recording").write_bytes(b"of the next dive")

    monkeypatch.setattr(backing, "copy_database", meanwhile)
    _, opened = _backed_up(expedition, tmp_path / "site.age", me)
    released = _files(opened.place / "released")
    assert released == {"public/dive-001.recording": b"told"}


def test_a_file_that_became_shorter_stops_it(
    tmp_path: Path, me: tuple[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is made up in the place of bytes that have gone: no backup is written, and it is said which file."""
    expedition = _site(tmp_path / "ship", rows=5)
    still = expedition.private / "stills" / "a.jpg"
    still.parent.mkdir()
    still.write_bytes(bytes(1_000))
    monkeypatch.setattr(backing, "_manifest", lambda *_: (still.write_bytes(bytes(999)), backing.Part("m", 0))[1])
    with pytest.raises(OperatorError, match=r"a\.jpg became shorter"):
        back_up(expedition, tmp_path / "site.age", [me[0]], _quiet)
    assert not (tmp_path / "site.age").exists()


def _voyage(folder: Path, me: tuple[str, Path] | None) -> tuple[list[list[tuple[int, bytes]]], dict[str, bytes]]:
    """Return what followers got and the recordings of a ship that dies at 90 s with a dive under way.

    `me`: she starts at 95 s on what was backed up while she ran; without it, on her own disk.
    """
    disk = Disk(folder)
    followers = [Ashore(audience.audience, None) for audience in PLAN.policies]
    out = Voyage(PLAN, SECRETS, followers, disk)
    out.plan_for(Event(0, Do.DIAL, at) for at in range(len(followers)))
    out.plan_for([Event(0, Do.START), Event(90 * SECOND + 1, Do.KILL), Event(95 * SECOND, Do.START)])
    rows = [*dive_rows(130, start_s=5), *dive_rows(40, start_s=200, seed=3)]
    lost = (90 * SECOND, 95 * SECOND)  # what comes while nothing runs, in both ships
    moments = [row for row in rows if not lost[0] <= row.embargo_us <= lost[1]]
    out.plan_for(Event(row.embargo_us, Do.INPUT, row.data, AT_ONCE) for row in moments)
    out.play(90 * SECOND)
    assert any(follower.got for follower in followers)
    if me is not None:
        (folder / "EXPEDITION.toml").write_text(RIGHT)
        write_secrets(folder / "private", SECRETS)
        _, opened = _backed_up(read_expedition(folder / "EXPEDITION.toml"), folder / "site.age", me)
        out.play(92 * SECOND)
        disk.folder = opened.place
    out.play(400 * SECOND)
    assert out.ship is not None and out.ship.stopped is None
    out.ship.power_off()
    assert disk.folder is not None
    return [follower.got for follower in followers], _files(disk.folder / "released")


def test_ship_that_goes_on_from_a_backup_releases_the_same_bytes_at_the_same_moments(
    tmp_path: Path, me: tuple[str, Path]
) -> None:
    """Opened in an empty folder: recordings and what followers get are those of a ship that kept her disk."""
    got, recordings = _voyage(tmp_path / "kept", None)
    assert _voyage(tmp_path / "restored", me) == (got, recordings)
    assert len(recordings) == 4 and all(len(frames) > 30 for frames in got)


ROUNDS, LINES = 3, 1_500


@pytest.mark.slow
async def test_backups_beside_real_ingest_lose_nothing_and_a_ship_goes_on_from_one(
    tmp_path: Path, me: tuple[str, Path]
) -> None:
    """Real processes: thousands of lines over TCP while backups run; each is a beginning of the journal, whole."""
    port, folder = free_port(), tmp_path / "ship"
    folder.mkdir()
    source = f"tcp-listen://127.0.0.1:{port}"
    lines = [json.dumps({"t": at / 100, "depth_m": 20 + at / 100}).encode() + b"\n" for at in range(ROUNDS * LINES)]
    async with ship_process(folder, feed_format="station-json", source=source, delay="1 s", quiet="1 min") as ship:
        expedition = read_expedition(ship.expedition)
        for number in range(ROUNDS):
            sending = asyncio.ensure_future(_send(port, lines[number * LINES : (number + 1) * LINES]))
            before = _last(expedition)
            done = await asyncio.to_thread(back_up, expedition, tmp_path / f"{number}.age", [me[0]], _quiet)
            assert done.rows >= before
            await sending
        await until(lambda: _journalled(expedition.private) == b"".join(lines) and _released(folder) != {})
        lock_secrets(expedition.private, me[1])
        await asyncio.to_thread(back_up, expedition, tmp_path / "last.age", [me[0]], _quiet)
        await ship.stop()
    whole, told = list(read_rows(expedition.private / JOURNAL)), _released(folder)
    for name in (*map(str, range(ROUNDS)), "last"):
        opened = open_locked(tmp_path / f"{name}.age", tmp_path / name, read_identity(me[1]))
        assert list(read_rows(opened.place / "private" / JOURNAL)) == whole[: opened.rows]
        assert all(told[path].startswith(data) for path, data in _released(opened.place).items())
        assert main(["journal", "verify", str(opened.place), "--secrets-key", str(me[1])]) == 0
    assert secrets_path(opened.place / "private") == opened.place / "private" / "secrets.age"
    again = ShipProcess(opened.place / "EXPEDITION.toml", ship.port, arguments=("--secrets-key", str(me[1])))
    await again.start()
    await again.stop()
    assert not any("stopped" in words for words in ship.words + again.words)
    for path, data in _released(opened.place).items():
        one, other = sorted((data, told[path]), key=len)
        assert one and other.startswith(one)


def _released(folder: Path) -> dict[str, bytes]:
    return _files(folder / "released")


async def _send(port: int, lines: list[bytes]) -> None:
    """Send lines to the feed in small writes, each after the relay has taken what was before it off the socket."""
    _, writer = await dialled(port)
    for at in range(0, len(lines), 10):
        writer.write(b"".join(lines[at : at + 10]))
        await writer.drain()
    writer.close()
    await writer.wait_closed()


def _last(expedition: Expedition) -> int:
    with reading(expedition.private / JOURNAL) as database:
        return last_row(database)


def _journalled(private: Path) -> bytes:
    return b"".join(row.data for row in read_rows(private / JOURNAL) if row.kind == "stream")


def test_a_backup_takes_little_memory_and_is_a_plain_archive_inside(tmp_path: Path, me: tuple[str, Path]) -> None:
    """Files of 96 MiB pass through in pieces; what is inside any program for tar archives reads."""
    expedition = _site(tmp_path / "ship", rows=5)
    (expedition.private / "finds").mkdir()
    with (expedition.private / "finds" / "film").open("wb") as file:
        file.truncate(96 << 20)
    script = (
        "import resource, sys; from pathlib import Path\n"
        "from relay.shell.plan.expedition import read_expedition\n"
        "from relay.shell.locked.backup import back_up\n"
        "site = read_expedition(Path(sys.argv[1])); shown = []\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "back_up(site, Path(sys.argv[2]), [sys.argv[3]], lambda *at: shown.append(at))\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before, shown == sorted(shown), *shown[-1])\n"
    )
    words = [str(expedition.path), str(tmp_path / "site.age"), me[0]]
    said = _run(script, words)
    more_kib, rises, done, octets = int(said[0]), said[1], int(said[2]), int(said[3])
    assert more_kib < 24 << 10 and rises == "True" and done == octets > 96 << 20
    open_file(tmp_path / "site.age", tmp_path / "plain", read_identity(me[1]))
    with tarfile.open(tmp_path / "plain") as archive:
        assert "private/finds/film" in archive.getnames()


def _run(script: str, words: list[str]) -> list[str]:
    done = subprocess.run([sys.executable, "-c", script, *words], check=True, capture_output=True, text=True)
    return done.stdout.split()
