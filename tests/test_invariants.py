"""The one program that looks whether R1 to R6 hold finds nothing after a good run, and each kind of fault in a bad one.

Each fault is planted into what a good run left, or into the relay that runs its journal again.
"""

import math
import shutil
import sqlite3
import struct
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import msgpack
import pytest

import never_told
from canary_signatures import key_text
from canary_spellings import DEGREES_IN_A_KEY
from invariants import RULES, check, main
from left_behind import RECEIPTS, SENT, Left, note, noted
from left_by_hand import BOOT_US, leave
from relay.core.embargo import Embargo
from relay.core.geodesy import Anchor
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.core.wire import decode, objects
from what_ran import Ran

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


def _second_dive_alone(objects: list[tuple[int, bytes]]) -> None:
    objects[:] = [each for each in objects if decode(each[1]).dive == 2]


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
    "the receipts of the first dive lost": ("R5", lambda folder: receipts(folder, _second_dive_alone)),
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
    "nobody looked whom the shore dialled": ("R6", lambda folder: (folder / "dialled_from_shore").unlink()),
    "a connection from the shore": ("R6", lambda folder: _add(folder, "dialled_from_shore", b"127.0.0.1:1\n")),
}


LAST = Path("public", "dive-002.recording")
ENDS = (Path("site", "released"), Path("shore", "shore"))


def _cut(path: Path, count: int) -> None:
    """Leave so many objects of a recording, or all but so many of its last, of which the footer is one."""
    data = path.read_bytes()
    ends = [0, *(end for _, _, end in objects(data))]
    path.write_bytes(data[: ends[count if count >= 0 else count - 1]])


def _cut_all(folder: Path, records: int) -> None:
    for end in ENDS:
        for path in (folder / end).rglob("*.recording"):
            _cut(path, records)


def _ran(folder: Path, **other: object) -> None:
    """Let the run say something else of itself."""
    replace(Ran.read(folder), **other).write(folder)  # type: ignore[arg-type]


def _by_hand(folder: Path) -> None:
    """Let the run say that no station had a socket, all traces of which are gone but those in the journal."""
    shutil.rmtree(folder / "said")
    (folder / "written_to_stations").unlink()
    _ran(folder, processes=())


def _last_gone(folder: Path) -> None:
    for end in ENDS:
        for path in (folder / end).rglob(LAST.name):
            path.unlink()


def _unnamed_feed(folder: Path) -> None:
    (folder / SENT / "moth.msgpack").unlink()
    _ran(folder, sources=("lantern", "desk"))


def _unnamed_shore(folder: Path) -> None:
    shutil.rmtree(folder / "shore")
    _ran(folder, processes=("ship",))


def _unnamed_clients(folder: Path) -> None:
    shutil.rmtree(folder / RECEIPTS)
    _ran(folder, clients=())


def _emptied(name: str) -> Callable[[Path], None]:
    return lambda folder: (folder / name).write_text("") and None


def _gone(name: str) -> Callable[[Path], None]:
    return lambda folder: shutil.rmtree(folder / name)


def _gone_file(name: str) -> Callable[[Path], None]:
    return lambda folder: (folder / name).unlink()


ABSENT: dict[str, tuple[str, Callable[[Path], None]]] = {
    "all receipts": ("receipts of a client are missing: follower-1", _gone(RECEIPTS)),
    "one client's receipts": ("receipts of a client are missing: shore-1", _gone_file(f"{RECEIPTS}/shore-1.msgpack")),
    "what one client had": (
        "receipts of a client are empty: follower-left-2",
        _emptied(f"{RECEIPTS}/follower-left-2.msgpack"),
    ),
    "all that was accepted": ("what was accepted of a source are missing: desk", _gone(SENT)),
    "all that was released": ("there is no folder released", _gone("site/released")),
    "the shore": ("there is no folder shore", _gone("shore")),
    "what processes said": ("nothing is left of what the shore said", _gone("said")),
    "what the ship said": ("nothing is left of what the ship said", _gone_file("said/ship")),
    "the last dive at both ends": (
        "the shore's public/dive-002.recording lacks",
        _last_gone,
    ),
    "all but two records at both ends": (
        "the ship's family/dive-001.recording lacks",
        lambda folder: _cut_all(folder, 2),
    ),
    "all of one recording aboard": (
        "the ship's public/dive-002.recording lacks",
        lambda folder: _cut(folder / ENDS[0] / LAST, 0),
    ),
    "all of one recording ashore": (
        "the shore's public/dive-002.recording lacks",
        lambda folder: _cut(folder / ENDS[1] / LAST, 0),
    ),
    "records that a client had": (
        "follower-1 has 1 records that aren't in a recording of the ship",
        lambda folder: _cut(folder / ENDS[0] / LAST, -2),
    ),
    "records that a client ashore had": (
        "shore-1 has 1 records that aren't in a recording of the shore",
        lambda folder: _cut(folder / ENDS[1] / LAST, -2),
    ),
    "the footer aboard": (
        "the ship's public/dive-002.recording has no end, and its dive has",
        lambda folder: _cut(folder / ENDS[0] / LAST, -1),
    ),
    "the footer ashore": (
        "the shore's public/dive-002.recording has no end, and its dive has",
        lambda folder: _cut(folder / ENDS[1] / LAST, -1),
    ),
    "what the run had": ("the run doesn't say which parts it had", _gone_file("ran.json")),
    "the journal's rows": ("the journal is empty", lambda folder: _journal(folder, "DELETE FROM row")),
    "a feed, and it isn't named": (
        "nobody says what the feed moth had accepted",
        _unnamed_feed,
    ),
    "the shore, and it isn't named": (
        "the run has a shore and its ship none to dial, or the other way round",
        _unnamed_shore,
    ),
    "all clients, and none is named": (
        "receipts of a client: the run had none",
        _unnamed_clients,
    ),
    "the sockets of stations, which there were": ("a feed of hers had a socket", _by_hand),
}


@pytest.mark.parametrize("name", ABSENT)
def test_absence_is_found(name: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a run had and didn't leave is found, whatever else is there, and named."""
    words, plant = ABSENT[name]
    plant(folder)
    found = checked(folder, "R5", monkeypatch)
    assert any(words in each for each in found), found


def test_run_that_was_stopped_lacks_only_what_was_not_due(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A ship that was ended in her second dive says when: what was due by then is owed, at both ends, and no more."""
    left = Left.read(folder)
    instants_us = {name: [us for us, frame in left.frames[name] if decode(frame).dive == 2] for name in left.policies}
    for name, all_us in instants_us.items():
        upto = sum(instant_us <= instants_us["public"][3] for instant_us in all_us)
        for end in ENDS:
            _cut(folder / end / name / LAST.name, upto)
    for client in left.ran.clients:
        receipts(folder, lambda objects: _forget(objects, instants_us["public"][3] + BOOT_US + 4_000), client)
    _ran(folder, stopped_us=instants_us["public"][3] + BOOT_US)
    assert checked(folder, "R5", monkeypatch) == []
    _cut(folder / ENDS[1] / LAST, 3)
    assert any("public/dive-002.recording lacks 2 of the 5" in words for words in checked(folder, "R5", monkeypatch))


def _forget(objects: list[tuple[int, bytes]], after_us: int) -> None:
    objects[:] = [each for each in objects if each[0] <= after_us]


def test_ship_in_hand_has_no_station_to_listen_at(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the ship is said to have had no process, nothing may say that somebody looked at a socket, or she spoke."""
    _ran(folder, processes=())
    assert "no socket" in checked(folder, "R6", monkeypatch)[0]
    assert any("what a process of hers said" in words for words in checked(folder, "R5", monkeypatch))


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


def test_public_key_tells_nothing_where_it_stands_whole(good: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a site's public key has digits that are its place to a scanner, they tell it only without the rest."""
    all_secrets = (Secrets(number.to_bytes(32)) for number in range(10_000))
    keys = ((secrets, key_text(Signer(secrets.signing_seed))) for secrets in all_secrets)
    secrets, key, read = next(
        (secrets, key, match) for secrets, key in keys if (match := DEGREES_IN_A_KEY.search(key, 4, 60))
    )
    degrees, minutes, seconds = map(int, read.groups())
    monkeypatch.setattr(never_told, "_places", lambda left: [(degrees + minutes / 60 + seconds / 3600, -21.93306)])
    unsaid = never_told.Unsaid(replace(Left.read(good), secrets=secrets))
    header = msgpack.packb([1, 0, 0, {"key": key.decode()}])
    assert list(unsaid.in_frames("a header", [header])) == []
    told = set(unsaid.in_frames("a header", [header.replace(key, key[:-1] + b"x")]))
    assert told
    assert all(words.startswith("a header tells latitude, degrees, minutes, seconds") for words in told)
