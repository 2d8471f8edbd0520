"""What must be true of a site after lives of `disk_life.py` on a bad disk: each line that comes back is a fault found.

The journal is read with SQLite alone, recordings and notes with the library msgpack alone. What the journal gives when
it is run again is the relay's own doing (`test_run_again.py` holds it to the live path).
"""

import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import suppress
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgpack

from disk_life import DELAYS_US, SECOND
from dives import run
from invariants import check
from left_behind import RECEIPTS, SENT, note
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.seal import Signer
from relay.core.wire import encode
from relay.shell.plan.expedition import read_expedition
from relay.shell.record.secrets_file import read_secrets
from what_ran import Ran

NOTE, END = 2, 3
HORIZON_US = 400 * SECOND
Place = tuple[str, int, int]


def wrong_after(path: Path, notes: list[list[Any]], *, power_cut: bool = False) -> list[str]:
    """Return what is wrong with a site whose expedition file is `path`, after the lives that left these notes."""
    crashed = [f"it ended by {values[0]}\n{values[1]}" for kind, *values in notes if kind == "crashed"]
    if crashed:
        return crashed
    wrong = [f"the release stopped: {n[2]}" for n in notes if n[0] in ("started", "closed") and n[2]]
    wrong += [f"the desk wasn't told: {n[1]}" for n in notes if n[0] == "silent"]
    wrong += wrong_releases(notes)
    try:
        rows, more = journal_rows(path.parent / "private" / "journal.db")
    except sqlite3.Error as error:
        return [*wrong, f"the journal can't be read: {error}"]
    wrong += more + wrong_journal(notes, rows, power_cut)
    wrong += wrong_guests(path.parent / "private", notes)
    return wrong + wrong_recordings(path, notes, rows)


def wrong_by_the_rules(folder: Path, notes: list[list[Any]], *, power_cut: bool = False) -> list[str]:
    """Return what the one program for all fault runs has against a run; its moments are those of the ship's clock.

    Nothing where the power took all of a run and none of it was owed: there is nothing to look at then.
    """
    if power_cut and _owed_nothing(folder, notes):
        return []
    sent = [(us, data) for _, _, data, us in _of(notes, "accepted")]
    if power_cut:
        with suppress(sqlite3.Error):  # `check` tells of it
            kept = {row.data for row in journal_rows(folder / "site" / "private" / "journal.db")[0]}
            sent = [(us, data) for us, data in sent if data in kept]
    note(folder / SENT / "station.msgpack", sent)
    got: dict[str, dict[Place, tuple[int, bytes]]] = {}
    for audience, dive, seq, data, us in _received(notes):
        got.setdefault(audience, {}).setdefault((audience, dive, seq), (us, data))
    for audience, frames in got.items():
        note(folder / RECEIPTS / f"follower-{audience}.msgpack", frames.values())
    (folder / "offsets.msgpack").write_bytes(msgpack.packb([0, 0]))
    clients = tuple(f"follower-{audience}" for audience in DELAYS_US if audience in got or _was_told(folder, audience))
    Ran(clients, ("station",), processes=()).write(folder)
    return check(folder)


def _owed_nothing(folder: Path, notes: list[list[Any]]) -> bool:
    """Whether no row was handed on, no record released, and the disk has neither: a sync failed until the cut."""
    if any(kind in ("durable", "released") for kind, *_ in notes) or (folder / "site" / "released").exists():
        return False
    with suppress(sqlite3.Error):
        return not journal_rows(folder / "site" / "private" / "journal.db")[0]
    return False


def _was_told(folder: Path, audience: str) -> bool:
    """Whether the disk has a record for an audience: whom a hold from before its first one outlives is told nothing.

    What the journal gives for it, and no recording has, is told by `check`.
    """
    return any(kept_frames(path)[0] for path in (folder / "site" / "released" / audience).glob("*.recording"))


def _received(notes: list[list[Any]]) -> Iterator[tuple[str, int, int, bytes, int]]:
    """Yield who got which record when; what a start tells again is to be had once the site is open, which is after."""
    again: list[list[Any]] = []
    starting = False
    for kind, *values in notes:
        if kind == "opening":
            starting = True
        elif kind == "released" and starting:
            again.append(values)
        elif kind == "released":
            yield *values[:4], values[6]  # type: ignore[misc]
        elif kind == "started":
            yield from ((*told[:4], max(told[6], values[2])) for told in again)  # type: ignore[misc]
            again, starting = [], False


def _of(notes: list[list[Any]], kind: str) -> Iterator[list[Any]]:
    return (values for name, *values in notes if name == kind)


def wrong_releases(notes: list[list[Any]]) -> list[str]:
    """Each record has the same bytes whenever it is told; none early, none of what wasn't durable (R2, R4, R5)."""
    sent_us = {json.loads(data)["note"]: (at_us, row) for at_us, row, data, _ in _of(notes, "accepted")}
    told: dict[Place, bytes] = {}
    wrong = []
    for audience, dive, seq, data, true_us, _, _ in _of(notes, "released"):
        if told.setdefault((audience, dive, seq), data) != data:
            wrong.append(f"record {seq} of dive {dive} was told {audience} differently")
        record = msgpack.unpackb(data)
        if record[2] != NOTE or record[4][1] not in sent_us:
            continue
        at_us, _row = sent_us[record[4][1]]
        if true_us < at_us + DELAYS_US[audience]:
            wrong.append(f"{record[4][1]} left {at_us + DELAYS_US[audience] - true_us} us early to {audience}")
    wrong += [f"{name} left before it was durable" for name in _undurable(notes)]
    return wrong


def _undurable(notes: list[list[Any]]) -> Iterator[str]:
    """Yield annotations that left before their row was handed on, in the life in which they were accepted."""
    waits: dict[str, int] = {}
    for kind, *values in notes:
        if kind == "opening":
            waits = {}
        elif kind == "accepted":
            waits[json.loads(values[2])["note"]] = values[1]
        elif kind == "released":
            record = msgpack.unpackb(values[3])
            if record[2] == NOTE and waits.get(record[4][1], 0) > values[5]:
                yield record[4][1]


def journal_rows(path: Path) -> tuple[list[Row], list[str]]:
    """Return the rows of a journal, and what SQLite finds wrong with it."""
    with sqlite3.connect(path) as database:
        found = database.execute("SELECT * FROM row ORDER BY seq").fetchall()
        state = database.execute("PRAGMA integrity_check").fetchall()
    rows = [Row(seq, us, wall_s, source, RowKind(kind), data) for seq, us, wall_s, source, kind, data in found]
    wrong = [] if state == [("ok",)] else [f"the journal is malformed: {state[:3]}"]
    if [row.seq for row in rows] != list(range(1, len(rows) + 1)):
        wrong.append("the journal's rows have gaps")
    if any(one.embargo_us > other.embargo_us for one, other in pairwise(rows)):
        wrong.append("the journal's clock went back")
    return rows, wrong


def wrong_journal(notes: list[list[Any]], rows: list[Row], power_cut: bool) -> list[str]:
    """What was accepted is there, once and in its order: all of it, or behind a power cut all that was handed on."""
    kept = [row.data for row in rows if row.kind is RowKind.STREAM]
    accepted = [data for _, row, data, _ in _of(notes, "accepted") if row]
    durable: list[bytes] = []
    waiting: list[tuple[int, bytes]] = []
    for kind, *values in notes:
        if kind == "opening":
            waiting = []
        elif kind == "accepted":
            waiting.append((values[1], values[2]))
        elif kind == "durable":
            durable += [data for row, data in waiting if row <= values[0]]
            waiting = [(row, data) for row, data in waiting if row > values[0]]
    owed = durable if power_cut else accepted
    wrong = [f"{json.loads(data)['note']} is lost" for data in owed if data not in kept]
    if kept != [data for data in accepted if data in kept]:
        wrong.append("the journal has rows twice, or out of order")
    whole = b"".join(row.data for row in rows if row.kind is RowKind.DECISION)
    for _, asked, answer in _of(notes, "answered"):
        given, got = json.loads(asked), json.loads(answer)
        if got["ok"] and "but" not in got and given["do"] == "say" and given["text"].encode() not in whole:
            wrong.append(f"a decision that was answered is lost: {given['text']}")
    return wrong


def wrong_guests(private: Path, notes: list[list[Any]]) -> list[str]:
    """Whoever was invited with a link is in the guest book."""
    answers = [json.loads(answer) for _, _, answer in _of(notes, "answered")]
    links = [answer["id"] for answer in answers if "link" in answer]
    book = private / "guests.json"
    known = [each["id"] for each in json.loads(book.read_text())["guests"]] if book.exists() else []
    return [f"the guest {guest} is lost" for guest in links if guest not in known]


def wrong_recordings(path: Path, notes: list[list[Any]], rows: list[Row]) -> list[str]:
    """Recordings are whole, hold all that was told, and are what the journal gives when it is run again."""
    told = {(audience, dive, seq): data for audience, dive, seq, data, *_ in _of(notes, "released")}
    folder, wrong = path.parent / "released", []
    again = grown_again(path, rows)
    for (audience, dive), frames in again.items():
        kept, is_closed, behind = kept_frames(folder / audience / f"dive-{dive:03d}.recording")
        if behind:
            wrong.append(f"dive {dive} for {audience} ends with {behind} octets that are no record")
        if is_closed != (msgpack.unpackb(frames[-1])[2] == END):
            wrong.append(f"dive {dive} for {audience} has no end on the disk")
        if kept != frames:
            wrong.append(f"dive {dive} for {audience} isn't what the journal gives: {len(kept)} for {len(frames)}")
    for (audience, dive, seq), data in told.items():
        frames = again.get((audience, dive), [])
        if seq >= len(frames) or frames[seq] != data:
            wrong.append(f"record {seq} of dive {dive}, told {audience}, isn't in the journal run again")
    return wrong


def kept_frames(path: Path) -> tuple[list[bytes], bool, int]:
    """Return the frames of a recording, whether its footer ends it, and how many octets stand behind what is whole."""
    data = path.read_bytes() if path.exists() else b""
    unpacker = msgpack.Unpacker(strict_map_key=False)
    unpacker.feed(data)
    ends, values = [0], []
    with suppress(ValueError):  # what follows is no MessagePack
        for value in unpacker:
            values.append(value)
            ends.append(unpacker.tell())
    frames = [data[start:end] for start, end in pairwise(ends)]
    behind = len(data) - ends[-1]
    is_closed = not behind and bool(values) and isinstance(values[-1], list) and isinstance(values[-1][0], str)
    return (frames[:-1] if is_closed else frames), is_closed, behind


def grown_again(path: Path, rows: Iterable[Row]) -> dict[tuple[str, int], list[bytes]]:
    """Return the frames that the rows give, by audience and dive."""
    site = read_secrets(path.parent / "private" / "secrets.json")
    signer, out = Signer(site.signing_seed), {}
    pipeline = Pipeline(read_expedition(path).plan, site)
    for due in run(pipeline, rows, HORIZON_US):
        record = due.record
        out.setdefault((record.audience, record.dive), []).append(signer.seal(record.audience, encode(record)))
    return out
