"""The one program that looks whether R1 to R6 hold finds nothing after a good run, and each kind of fault in a bad one.

Each fault is planted into what a good run left, or into the relay that runs its journal again.
"""

import math
import shutil
import sqlite3
import struct
from collections.abc import Callable
from pathlib import Path

import msgpack
import pytest

import never_told
from invariants import RULES, check, main
from left_behind import RECEIPTS, SENT, Left, note, noted
from left_by_hand import leave
from relay.core.embargo import Embargo
from relay.core.geodesy import Anchor

PUBLIC = Path("site", "released", "public", "dive-002.recording")


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a run without a fault left; nobody writes to it."""
    return leave(tmp_path_factory.mktemp("left") / "good")


@pytest.fixture
def folder(good: Path, tmp_path: Path) -> Path:
    """A copy of it for a fault."""
    return Path(shutil.copytree(good, tmp_path / "bad"))


def test_good_run_has_nothing_wrong(good: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All rules hold over a run without a fault, of which every kind of thing is there to be looked at."""
    assert check(good) == []
    assert main([str(good)]) == 0
    assert "R1 to R6 hold" in capsys.readouterr().out
    left = Left.read(good)
    assert min(map(len, (*left.receipts.values(), *left.sent.values(), *left.frames.values()))) >= 1
    assert len(left.recordings["public"]) == len(left.recordings_ashore["public"]) == 2


def receipts(folder: Path, change: Callable[[list[tuple[int, bytes]]], None], name: str = "follower-1") -> None:
    """Change what a client got."""
    _rewrite(folder / RECEIPTS / f"{name}.msgpack", change)


def sent(folder: Path, change: Callable[[list[tuple[int, bytes]]], None]) -> None:
    """Change what a station had sent."""
    _rewrite(folder / SENT / "lantern.msgpack", change)


def _rewrite(path: Path, change: Callable[[list[tuple[int, bytes]]], None]) -> None:
    objects = noted(path)
    change(objects)
    path.unlink()
    note(path, objects)


def _swap(objects: list[tuple[int, bytes]]) -> None:
    objects[3], objects[4] = objects[4], objects[3]


def _early(objects: list[tuple[int, bytes]]) -> None:
    objects[5] = objects[5][0] - 5_000, objects[5][1]


def _young(objects: list[tuple[int, bytes]]) -> None:
    objects[5] = objects[5][0] + 2_000, objects[5][1]


def _altered(objects: list[tuple[int, bytes]]) -> None:
    objects[5] = objects[5][0], objects[5][1][:-1] + b"\x01"


def _journal(folder: Path, statement: str) -> None:
    with sqlite3.connect(folder / "site" / "private" / "journal.db") as database:
        database.execute(statement)


def _add(folder: Path, name: str, data: bytes) -> None:
    path = folder / name
    path.write_bytes((path.read_bytes() if path.exists() else b"") + data)


def _reword(path: Path) -> None:
    path.write_bytes(path.read_bytes().replace(b"descent", b"ascents"))


def _sent_first(folder: Path) -> bytes:
    return noted(folder / SENT / "lantern.msgpack")[0][1]


def _place(folder: Path) -> bytes:
    return noted(folder / SENT / "lantern.msgpack")[3][1].partition(b'"latitude_deg": ')[2].partition(b",")[0]


PLANTED: dict[str, tuple[str, Callable[[Path], None]]] = {
    "a place in a log": ("R1", lambda folder: _add(folder, "said/ship", b"at " + _place(folder))),
    "a place behind a recording": ("R1", lambda folder: _add(folder, str(PUBLIC), b" " + _place(folder))),
    "a place in a page": ("R1", lambda folder: _add(folder, "shore/shore/page.html", _place(folder)[:9])),
    "raw bytes in a log": ("R1", lambda folder: _add(folder, "said/ship", _sent_first(folder)[:20])),
    "the turn in a log": ("R1", lambda f: _add(f, "said/ship", str(Left.read(f).secrets.turn_deg).encode())),
    "the key in a log": ("R1", lambda f: _add(f, "said/ship", Left.read(f).secrets.key.hex().encode())),
    "a receipt before its moment": ("R2", lambda folder: receipts(folder, _early)),
    "a receipt ashore before its moment": ("R2", lambda folder: receipts(folder, _early, "shore-1")),
    "a row older than what is in it": ("R2", lambda folder: sent(folder, _young)),
    "a receipt lost": ("R5", lambda folder: receipts(folder, lambda objects: objects.pop(7))),
    "the last receipt lost": ("R5", lambda folder: receipts(folder, lambda objects: objects.pop())),
    "a receipt doubled": ("R5", lambda folder: receipts(folder, lambda objects: objects.insert(7, objects[7]))),
    "receipts out of order": ("R5", lambda folder: receipts(folder, _swap)),
    "a receipt altered": ("R5", lambda folder: receipts(folder, _altered)),
    "a row lost": ("R5", lambda folder: _journal(folder, "DELETE FROM row WHERE seq = 9")),
    "accepted, and not in the journal": (
        "R5",
        lambda folder: _journal(folder, "UPDATE row SET data = CAST('' AS BLOB) WHERE seq = 9"),
    ),
    "odd, so that a rule can't be looked at": ("R2", lambda folder: _journal(folder, "DELETE FROM mark")),
    "accepted, and twice in the journal": (
        "R5",
        lambda folder: _journal(folder, "UPDATE row SET data = CAST(data || data AS BLOB) WHERE seq = 9"),
    ),
    "accepted in another order": ("R5", lambda folder: sent(folder, _swap)),
    "a recording altered": ("R5", lambda folder: _reword(folder / PUBLIC)),
    "a recording lost": ("R5", lambda folder: (folder / "shore/shore/public/dive-001.recording").unlink()),
    "a byte at a station": ("R6", lambda folder: _add(folder, "written_to_stations", b"\0")),
    "nobody looked at the stations": ("R6", lambda folder: (folder / "written_to_stations").unlink()),
    "a connection from the shore": ("R6", lambda folder: _add(folder, "dialled_from_shore", b"127.0.0.1:1\n")),
}


@pytest.mark.parametrize("name", PLANTED)
def test_fault_in_what_was_left_is_found(name: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault planted into what a good run left is found, by the rule that it breaks."""
    rule, plant = PLANTED[name]
    plant(folder)
    assert checked(folder, rule, monkeypatch), name


def checked(folder: Path, rule: str, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return what one of the rules finds."""
    monkeypatch.setattr("invariants.RULES", [each for each in RULES if each[0] == rule])
    return check(folder)


def _all_now(due: Callable[[Embargo, int, int], object]) -> Callable[[Embargo, int, int], object]:
    return lambda embargo, audience, upto_us: due(embargo, audience, upto_us + 3_600_000_000)


def square_map(latitude_deg: float, longitude_deg: float, anchor: Anchor) -> tuple[float, float, float, float]:
    """Take every degree for as long as one of latitude."""
    east, north = (
        (to - of) * 111_195 for to, of in ((longitude_deg, anchor.longitude_deg), (latitude_deg, anchor.latitude_deg))
    )
    return east, north, 0.0, math.hypot(east, north)


LEAKS: dict[str, tuple[str, str, object]] = {
    "everything at once": ("R2", "relay.core.embargo.Embargo.due", _all_now(Embargo.due)),
    "degrees for metres": ("R3", "relay.core.geodesy.plane", square_map),
    "every field": ("R4", "relay.core.disclosure.Disclosure._names", lambda self, field: True),
    "every metre": ("R4", "relay.core.disclosure.DepthSteps.show", lambda self, depth_m, leg: depth_m),
}


@pytest.mark.parametrize("name", LEAKS)
def test_leak_of_the_relay_is_found(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a relay without one of its defences leaves is found out, by the rule that it breaks."""
    rule, where, instead = LEAKS[name]
    monkeypatch.setattr(where, instead)
    assert checked(leave(tmp_path / "leaky"), rule, monkeypatch), name


def test_what_cannot_be_read_is_wrong(folder: Path) -> None:
    """A folder without a journal, or with receipts that were cut off, doesn't pass."""
    path = folder / RECEIPTS / "shore-1.msgpack"
    path.write_bytes(path.read_bytes()[:-3])
    assert [words[:2] for words in check(folder)] == ["R5"]
    (folder / "site" / "private" / "journal.db").unlink()
    assert [words[:2] for words in check(folder)] == ["R5"]


def test_one_axis_of_any_place_in_the_journal_is_told(good: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A scanner has one place for all about it, but an axis that must be exact is compared with every place."""
    raw = b"\xd1\xf3\x8f\xcd\x01YC\xc0"
    (latitude,) = struct.unpack("<d", raw)
    places = [(latitude - 2e-5, -21.93306), (latitude, -21.93306)]
    monkeypatch.setattr(never_told, "_places", lambda left: places)
    assert never_told._one_for_all_about(places) == places[:1]
    frame = b"\x92\x01\x94" + raw
    assert msgpack.unpackb(frame) == [1, [-3_185, 345, 67, None]]
    (told,) = never_told.Unsaid(Left.read(good)).in_frames("a record", [frame])
    assert told.startswith("a record tells latitude, <f8")
