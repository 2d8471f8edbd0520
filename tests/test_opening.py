"""Opening what was sent, by command and by hand: an export or a site, whole, nowhere else, and never over another."""

import io
import json
import tarfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from expeditions import RIGHT
from relay.__main__ import main
from relay.core.errors import LockingError, OperatorError
from relay.shell.locked import opening
from relay.shell.locked.backup import MANIFEST
from relay.shell.locked.identities import new_identity, read_identity
from relay.shell.locked.locking import encrypt_stream, open_file
from relay.shell.locked.opening import open_locked

TOLD = {"version": 1, "expedition": "EXPEDITION.toml", "private": "private", "elsewhere": [], "rows": 3, "files": 1}
PLAN = ("EXPEDITION.toml", b"x")


@pytest.fixture
def locked(tmp_path: Path) -> Callable[[bytes], Path]:
    """Return what encrypts bytes to `me.key`, as `a.age`."""
    line = new_identity(tmp_path / "me.key")

    def lock(data: bytes) -> Path:
        encrypt_stream(lambda out: (out.write(data), None)[1], tmp_path / "a.age", [line])
        return tmp_path / "a.age"

    return lock


def _archive(
    told: object, *members: tuple[str, bytes], kind: bytes = tarfile.REGTYPE, link: str = "", more: int = 0
) -> bytes:
    """Return an archive that begins as a backup, with further members; it says so many, and `more`."""
    out = io.BytesIO()
    if isinstance(told, dict) and told.get("files") == 1:
        told = {**told, "files": len(members) + more}
    with tarfile.open(fileobj=out, mode="w:") as archive:
        for at, (name, data) in enumerate([(MANIFEST, json.dumps(told).encode()), *members]):
            info = tarfile.TarInfo(name)
            info.size, info.type, info.linkname = len(data), kind if at else tarfile.REGTYPE, link if at else ""
            archive.addfile(info, io.BytesIO(data))
    return out.getvalue()


@pytest.mark.parametrize("data", [b"", b"as found", bytes(20_000), _archive("x")[512:], b"PK\3\4" + bytes(600)])
def test_a_file_that_is_no_backup_is_opened_as_it_is(
    data: bytes, tmp_path: Path, locked: Callable[[bytes], Path]
) -> None:
    """An export, a text, or an archive of somebody's: its bytes, under the name that was given."""
    opened = open_locked(locked(data), tmp_path / "out", read_identity(tmp_path / "me.key"))
    assert (opened.place, opened.rows) == (tmp_path / "out", None)
    assert (tmp_path / "out").read_bytes() == data
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.age", "me.key", "out"]


@pytest.mark.parametrize("name", ["../out of it", "/tmp/elsewhere", "private/../../b", "..", "private/.."])
def test_a_backup_lays_nothing_outside_its_folder(name: str, tmp_path: Path, locked: Callable[[bytes], Path]) -> None:
    """Whoever has your line can send you anything: a name that leads elsewhere stops it, and nothing is left."""
    with pytest.raises(LockingError, match="somewhere else"):
        open_locked(locked(_archive(TOLD, (name, b"x"))), tmp_path / "site", read_identity(tmp_path / "me.key"))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.age", "me.key"]


@pytest.mark.parametrize("kind", [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.FIFOTYPE, tarfile.CHRTYPE, tarfile.DIRTYPE])
def test_a_backup_holds_files_alone(kind: bytes, tmp_path: Path, locked: Callable[[bytes], Path]) -> None:
    """Links, pipes, devices and folders are in none of Offing's, so they are refused."""
    data = _archive(TOLD, ("private/a", b""), kind=kind, link="/etc/passwd")
    with pytest.raises(LockingError, match="no backup of Offing's"):
        open_locked(locked(data), tmp_path / "site", read_identity(tmp_path / "me.key"))
    assert not (tmp_path / "site").exists()


BAD_MANIFESTS = [
    [1],
    "x",
    {"version": 1},
    {**TOLD, "expedition": "/etc/\x1b]0;owned\x07passwd"},
    {**TOLD, "expedition": "../EXPEDITION.toml"},
    {**TOLD, "expedition": ".."},
    {**TOLD, "expedition": "EXPEDITION.toml\nRun: something"},
    {**TOLD, "expedition": "another.toml"},
    {**TOLD, "rows": "\x1b[2J999"},
    {**TOLD, "rows": True},
    {**TOLD, "rows": -1},
    {**TOLD, "elsewhere": ["\x1b[2Jx\nRun: something"]},
    {**TOLD, "elsewhere": [["private"]]},
    {**TOLD, "elsewhere": "private"},
    {**TOLD, "version": True},
    {**TOLD, "files": 0},
    {**TOLD, "files": 2},
    {**TOLD, "version": None},
]


@pytest.mark.parametrize("told", BAD_MANIFESTS)
def test_what_a_backup_says_of_itself_is_judged_before_it_is_laid(
    told: object, tmp_path: Path, locked: Callable[[bytes], Path]
) -> None:
    """Another shape, a path, lines of a terminal's, a file that isn't in it: refused whole, and none of it is said."""
    with pytest.raises(LockingError, match="no backup of Offing's") as caught:
        open_locked(locked(_archive(told, PLAN)), tmp_path / "site", read_identity(tmp_path / "me.key"))
    assert str(caught.value).isprintable()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.age", "me.key"]


HEADERS = {
    "sparse": {"GNU.sparse.size": str(300 << 20), "GNU.sparse.map": "0,0", "GNU.sparse.name": "big"},
    "sparse, bad": {"GNU.sparse.size": "x", "GNU.sparse.map": "0,0"},
    "sparse 1.0": {"GNU.sparse.major": "1", "GNU.sparse.minor": "0"},
    "a size below nothing": {"size": "-5"},
    "a name with NUL": {"path": "a\0b"},
    "folders without end": {"path": "d/" * 1_000 + "x"},
}


@pytest.mark.parametrize("header", HEADERS.values(), ids=HEADERS)
def test_odd_headers_of_an_archive_are_refused(
    header: dict[str, str], tmp_path: Path, locked: Callable[[bytes], Path]
) -> None:
    """Files that take more room than they have in the archive (GNU's sparse ones), odd sizes and names lay nothing."""
    out, info = io.BytesIO(), tarfile.TarInfo("z")
    info.size, info.pax_headers = 1, header
    with tarfile.open(fileobj=out, mode="w:", format=tarfile.PAX_FORMAT) as archive:
        archive.addfile(info, io.BytesIO(b"x"))
    begin = _archive(TOLD, PLAN, more=1).rstrip(b"\0")
    data = begin.ljust(-(-len(begin) // 512) * 512, b"\0") + out.getvalue()
    with pytest.raises(LockingError, match="no backup of Offing's"):
        open_locked(locked(data), tmp_path / "site", read_identity(tmp_path / "me.key"))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.age", "me.key"]


def test_a_name_that_comes_twice_and_a_newer_version_are_refused(
    tmp_path: Path, locked: Callable[[bytes], Path]
) -> None:
    """Neither is written by any Offing that this one knows."""
    key = read_identity(tmp_path / "me.key")
    twice = locked(_archive(TOLD, ("private/a", b"1"), ("private/a", b"2")))
    with pytest.raises(OperatorError, match="can't be written"):
        open_locked(twice, tmp_path / "site", key)
    twice.unlink()
    with pytest.raises(OperatorError, match="newer Offing"):
        open_locked(locked(_archive({**TOLD, "version": 2})), tmp_path / "site", key)
    assert not (tmp_path / "site").exists()


def test_a_site_is_for_its_owner_alone(tmp_path: Path, locked: Callable[[bytes], Path]) -> None:
    """Folders have mode 0700 and files 0600, whatever the archive says."""
    opened = open_locked(
        locked(_archive(TOLD, PLAN, ("private/a", b"1"))), tmp_path / "site", read_identity(tmp_path / "me.key")
    )
    assert (opened.rows, opened.expedition) == (3, tmp_path / "site" / "EXPEDITION.toml")
    modes = {path.stat().st_mode & 0o777 for path in opened.place.rglob("*") if path.is_file()}
    folders = {path.stat().st_mode & 0o777 for path in (opened.place, opened.place / "private")}
    assert (modes, folders) == ({0o600}, {0o700})


def test_a_place_that_is_taken_or_can_t_be_made_is_said(tmp_path: Path, locked: Callable[[bytes], Path]) -> None:
    """A file, a folder, even a link to nothing stays as it is; a folder that isn't there is named."""
    source, key = locked(b"x"), read_identity(tmp_path / "me.key")
    (tmp_path / "file").write_text("mine")
    (tmp_path / "folder").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "nothing")
    for name in ("file", "folder", "link"):
        with pytest.raises(OperatorError, match="is there already"):
            open_locked(source, tmp_path / name, key)
    with pytest.raises(OperatorError, match="nothing can be written into"):
        open_locked(source, tmp_path / "no" / "such", key)
    assert (tmp_path / "file").read_text() == "mine" and not (tmp_path / "nothing").exists()


def test_a_file_that_comes_meanwhile_stays(
    tmp_path: Path, locked: Callable[[bytes], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody else's file of the same name, made while this one was opened, isn't written over."""

    def slow(*given: Any) -> None:
        open_file(*given)
        (tmp_path / "out").write_bytes(b"mine")

    monkeypatch.setattr(opening, "open_file", slow)
    with pytest.raises(OperatorError, match="can't be written"):
        open_locked(locked(b"theirs"), tmp_path / "out", read_identity(tmp_path / "me.key"))
    assert (tmp_path / "out").read_bytes() == b"mine"


def test_the_whole_way_by_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A key is made ashore, its line sent aboard, a backup sent back and opened; no secret is ever printed."""
    site, key = tmp_path / "EXPEDITION.toml", tmp_path / "my.key"
    site.write_text(RIGHT)
    assert main(["key", str(site)]) == 0
    public = capsys.readouterr().out
    assert main(["identity", str(key)]) == 0
    first = capsys.readouterr()
    line = first.out.strip()
    assert line.startswith("age1") and len(line) == 62 and "keep it to yourself" in first.err
    assert main(["identity", str(key)]) == 0
    assert capsys.readouterr().out.strip() == line
    assert main(["journal", "backup", str(tmp_path), "--out", str(tmp_path / "a.age"), "--to", line]) == 0
    said = capsys.readouterr()
    assert said.out.strip() == str(tmp_path / "a.age") and "0 rows of the journal" in said.err
    assert main(["open", str(tmp_path / "a.age"), "--out", str(tmp_path / "site")]) == 2
    assert "give the file that holds yours, --identity" in capsys.readouterr().err
    assert main(["open", str(tmp_path / "a.age"), "--identity", str(key), "--out", str(tmp_path / "site")]) == 0
    said = capsys.readouterr()
    assert said.out.strip() == str(tmp_path / "site") and "one ship alone" in said.err
    assert "By whom, nothing proves" in said.err
    assert main(["key", str(tmp_path / "site" / "EXPEDITION.toml")]) == 0
    assert capsys.readouterr().out == public
    secret = key.read_text().split()[-1]
    assert secret not in first.out + first.err + said.out + said.err


def test_secrets_are_locked_and_unlocked_by_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Locked, the site's key is had with the key file alone; what is said names the files and no secret."""
    site, key = str(tmp_path / "EXPEDITION.toml"), str(tmp_path / "ship.key")
    (tmp_path / "EXPEDITION.toml").write_text(RIGHT)
    assert main(["key", site]) == 0
    public = capsys.readouterr().out
    assert main(["identity", key]) == 0
    assert main(["secrets", "lock", site, "--secrets-key", key]) == 0
    said = capsys.readouterr()
    assert str(tmp_path / "private" / "secrets.age") in said.out and "this site is lost" in said.err
    assert main(["key", site]) == 2
    assert "--secrets-key FILE" in capsys.readouterr().err
    assert main(["key", site, "--secrets-key", key]) == 0
    assert capsys.readouterr().out == public
    assert main(["secrets", "lock", site, "--secrets-key", key]) == 2
    assert main(["secrets", "unlock", site, "--secrets-key", key]) == 0
    assert main(["key", site]) == 0
    assert capsys.readouterr().out.endswith(public)
