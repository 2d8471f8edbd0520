"""Fuzz targets of files that the operator and the relay keep: plans, secrets, guest book, the watch's memory, keys.

Properties: what is refused is refused in words that name the file; nothing is raised but what the module declares; what
is taken is written again as itself.
"""

import io
import json
import shutil
import tarfile
from dataclasses import replace
from pathlib import Path

from pyrage import x25519

from expeditions import RIGHT
from fuzz_target import Target, as_file, result_or, scratch
from relay.core.errors import (
    ExpeditionError,
    InvitationError,
    LockingError,
    OperatorError,
    SecretsError,
    ShoreFileError,
)
from relay.core.seal import Signer
from relay.core.survey_plan import NO_SURVEY
from relay.shell.audit.policy_file import with_settings
from relay.shell.desk.desk_token import open_token
from relay.shell.desk.desk_watch import Watch, _anchor
from relay.shell.desk.guest_book import GuestBook, Invited, read_book, write_book
from relay.shell.desk.watch_file import read_watch
from relay.shell.locked.backup import MANIFEST
from relay.shell.locked.identities import read_key
from relay.shell.locked.locking import Key, encrypt_bytes
from relay.shell.locked.opening import Opened, open_locked
from relay.shell.plan.expedition import Expedition, parse_expedition, read_expedition
from relay.shell.plan.toml_lines import line_numbers
from relay.shell.record.secrets_file import read_secrets, secrets_text, seeded_secrets
from relay.shell.shore.shore_file import parse_shore_file, read_shore_file

_NOWHERE = Path("EXPEDITION.toml")
_OURS = Key((x25519.Identity.generate(),))
_KEY = Signer(bytes(32)).key.hex()
SHORE = f"""\
[shore]
expedition = "The search for the Isoline Marr"
key = "{_KEY}"
open = ["public"]
folder = "shore"

[site]
listen = "127.0.0.1:0"

[uplink]
listen = "127.0.0.1:0"
certificate = "shore.pem"
key = "shore.key"
"""
_PARTS = [RIGHT, RIGHT.replace("25 m", "25 km"), SHORE, RIGHT[:300], RIGHT[-500:]]


def _expedition(data: bytes) -> None:
    """The expedition file: as bytes, and as the right one with one more piece."""
    path = as_file(data, _NOWHERE.name)
    found = result_or(ExpeditionError, lambda: read_expedition(path))
    assert isinstance(found, Expedition) or str(path) in str(found)
    text = data.decode("utf-8", "replace")
    more = result_or(ExpeditionError, lambda: parse_expedition(f"{RIGHT}\n{text}", path))
    if isinstance(more, Expedition):
        assert all(policy.delay_us >= 0 and policy.tick_us > 0 for policy in more.plan.policies)


def _settings(data: bytes) -> None:
    """What `offing advise` writes into an expedition file, whatever text that is."""
    text = f"{RIGHT}\n{data.decode('utf-8', 'replace')}"
    assert all(number > 0 for number in line_numbers(text).values())
    if isinstance(result_or(ExpeditionError, lambda: parse_expedition(text, _NOWHERE)), Expedition):
        changed = parse_expedition(with_settings(text, 0, {"cell": '"50 m"', "depth_step": '"5 m"'}), _NOWHERE)
        assert (changed.plan.policies[0].cell_m, changed.plan.policies[0].depth_step_m) == (50.0, 5.0)


def _shore(data: bytes) -> None:
    path = as_file(data, "SHORE.toml")
    found = result_or(ShoreFileError, lambda: read_shore_file(path))
    assert not isinstance(found, str) or str(path) in found
    text = data.decode("utf-8", "replace")
    result_or(ShoreFileError, lambda: parse_shore_file(f"{SHORE}\n{text}", path))


def _secrets(data: bytes) -> None:
    path = as_file(data, "secrets.json")
    found = result_or(SecretsError, lambda: read_secrets(path))
    assert isinstance(found, str) or len(found.key) == 32  # type: ignore[attr-defined]
    locked = as_file(data, "secrets.age")
    result_or((SecretsError, LockingError), lambda: read_secrets(locked, ask=lambda _: "five words drawn by dice"))
    as_file(data, "desk.token")
    result_or(SecretsError, lambda: open_token(scratch()))


def _book(data: bytes) -> None:
    as_file(data, "guests.json")
    found = result_or(InvitationError, lambda: read_book(scratch()))
    if isinstance(found, GuestBook):
        assert [each.guest.id for each in found.invited] == [each.id for each in found.invited]
        write_book(scratch(), found)
        assert read_book(scratch()) == found


def _watch(data: bytes) -> None:
    """What the watch kept is a memory: whatever stands there, the watch begins, and works on."""
    as_file(data, "watch.json")
    kept = read_watch(scratch(), 1 << 40)
    assert kept is None or isinstance(kept, dict)
    watch = Watch(("Lantern", "Moth"), NO_SURVEY, scratch(), 1 << 40)
    watch.take(0, 1 << 41, {"latitude_deg": -38.6, "longitude_deg": -21.9, "depth_m": 4.0})
    watch.section(0, 1 << 41)
    watch.tracks()


def _identity(data: bytes) -> None:
    path = as_file(data, "mine.key")
    key = result_or(LockingError, lambda: read_key(path, lambda _: "five words drawn by dice"))
    assert isinstance(key, Key) or str(path) in str(key)


def _opened(data: bytes) -> None:
    """What somebody sent, opened: as it came, and (it is encrypted to us here) as what is in it."""
    for sent in (data, encrypt_bytes(data, _OURS)):
        source, place = as_file(sent, "sent.age"), scratch() / "opened"
        opened = result_or((LockingError, OperatorError), lambda: open_locked(source, place, _OURS))  # noqa: B023
        assert place.exists() is isinstance(opened, Opened)
        beside = {path.name for path in scratch().iterdir()} - {"sent.age", "opened"}
        assert not any(name.startswith(".opened") for name in beside)
        assert all(path.resolve().is_relative_to(scratch()) for path in place.rglob("*"))
        _taken_away(place)


def _taken_away(place: Path) -> None:
    if place.is_dir():
        shutil.rmtree(place)
    place.unlink(missing_ok=True)


def _backup(*members: tuple[str, bytes]) -> bytes:
    """Return an archive as a backup begins."""
    told = {"version": 1, "rows": 3, "files": len(members), "expedition": "EXPEDITION.toml", "elsewhere": []}
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w:") as archive:
        for name, data in ((MANIFEST, json.dumps(told).encode()), *members):
            info = tarfile.TarInfo(name)
            info.size = len(data)
            archive.addfile(info, io.BytesIO(data))
    return out.getvalue()[: 512 * (4 + 2 * len(members))]


_MORE = ('[[zone]]\nname = "stern"\n', "# a remark\n", 'cell = ["25 m", # remark\n]', '"cell" = 5', "[desk]\n")
_LOCKED = encrypt_bytes(b"as found", _OURS)
_WATCHED = (
    b'{"version": 1, "upto_us": 5, "survey": {}, "tracks": {"Lantern": {}}, "origin": [-38.6, -21.9]}',
    b'{"version": 1, "upto_us": 5, "survey": {"legs": [], "figures": {}}, "tracks": {}, "origin": null}',
)
_INVITED = Invited("0a1b2c3d", "Ines", "family", bytes(32).hex(), "2026-12-31", last_day="2026-11-26")


def _watched() -> bytes:
    """Return what a watch keeps of a little survey."""
    watch = Watch(("Lantern", "Moth"), NO_SURVEY, scratch())
    for second in range(4):
        place = {"latitude_deg": -38.61 + second / 9_000, "longitude_deg": -21.93, "depth_m": 4.0 * second}
        watch.take(0, 1_000_000 * second, place)
    watch._anchor = _anchor(-38.61, -21.93)
    watch.close()
    return (scratch() / "watch.json").read_bytes()


def _book_text() -> bytes:
    write_book(scratch(), GuestBook(7, (_INVITED, replace(_INVITED, id="0a1b2c3e", until=None, revoked=True))))
    return (scratch() / "guests.json").read_bytes()


TARGETS = (
    Target("expedition", _expedition, [part.encode() for part in _PARTS], 2_048),
    Target("settings", _settings, [part.encode() for part in _MORE], 1_024),
    Target("shore-file", _shore, [part.encode() for part in _PARTS], 1_024),
    Target(
        "secrets", _secrets, [secrets_text(seeded_secrets(1)), b"a" * 43, b"age-encryption.org/v1\n-> X25519 "], 512
    ),
    Target("guest-book", _book, [_book_text()], 1_024),
    Target("watch-file", _watch, [_watched(), *_WATCHED], 2_048),
    Target("identity", _identity, [b"AGE-SECRET-KEY-1", b"# a key\n", b"-----BEGIN AGE ENCRYPTED FILE-----\n"], 512),
    Target("opened", _opened, [_backup(("EXPEDITION.toml", b"plan")), _backup(("../x", b"")), _LOCKED], 4_096),
)
