"""Fuzz targets of files that lie beside a journal or a recording, and that a power cut or a hand may damage.

Properties: what is refused is refused in words that name the file; what is taken is written again as itself, and can be
said in words.
"""

import sqlite3
from functools import cache
from hashlib import sha256
from pathlib import Path

from dives import plan, policy
from fuzz_target import Target, as_file, result_or, scratch
from relay.core.errors import OperatorError
from relay.core.geodesy import Anchor
from relay.core.hiding import InForce
from relay.core.programme import Programme, Told
from relay.core.record_log import LogStart
from relay.core.restart import Checkpoint, Standing
from relay.core.wire import read_recording
from relay.shell.proofs.sums import NAME as SUMS
from relay.shell.proofs.sums import Sums, _text, damaged, read_sums, write_sums
from relay.shell.record.checkpoint import read_checkpoint, write_checkpoint
from relay.shell.released.briefing import TEXT_LIMIT, read_notes
from relay.shell.ship.audit_result import NAME as RESULTS
from relay.shell.ship.audit_result import Audited, Kept, _fault_of, _when, _write, read_results
from released import dive_with_everything

_RECORDING = read_recording(b"".join(frame.data for frame in dive_with_everything(2)))


@cache
def _journal() -> Path:
    """Return a small database with rows, which nobody writes."""
    path = scratch() / "journal.db"
    with sqlite3.connect(path) as database:
        database.execute("CREATE TABLE row (seq INTEGER PRIMARY KEY, data BLOB)")
        database.executemany("INSERT INTO row (data) VALUES (?)", [(bytes(5_000),) for _ in range(16)])
    database.close()
    return path


def _sums(data: bytes) -> None:
    """The sums as they lie there, and with a last line that is right of those before it: else nothing gets further."""
    journal = _journal()
    for told in (data, data + f"these lines {sha256(data).hexdigest()}\n".encode()):
        path = as_file(told, SUMS)
        found = result_or(OperatorError, lambda: read_sums(journal))
        assert found is None or isinstance(found, Sums) or str(path) in str(found)
        if isinstance(found, Sums):
            assert _text(found) == told
            assert all(0 <= span.first <= span.last for span in damaged(journal, found))


def _notes(data: bytes) -> None:
    path = as_file(data, "notes.toml")
    found = result_or(OperatorError, lambda: read_notes(path, _RECORDING))
    if isinstance(found, list):
        assert all(note.at_s >= 0 and 0 < len(note.text) <= TEXT_LIMIT for note in found)
    else:
        assert str(path) in str(found)


def _results(data: bytes) -> None:
    """What an audit found: it lets an audience start, so that it is read as it is written or not at all."""
    path = as_file(data, RESULTS)
    found = result_or(OperatorError, lambda: read_results(scratch()))
    if isinstance(found, dict):
        for kept in found.values():
            assert f"{_when(kept)} {_fault_of(kept.found, 87.0)}".isprintable()
        _write(scratch(), found)
        assert read_results(scratch()) == found
    else:
        assert str(path) in str(found)


def _checkpoint(data: bytes) -> None:
    """A mark as it lies in the journal, as text: what is taken is written again as itself."""
    text = data.decode("utf-8", "surrogateescape")
    found = result_or(OperatorError, lambda: read_checkpoint(text, _PLAN))
    if isinstance(found, Checkpoint):
        assert read_checkpoint(write_checkpoint(found, _PLAN), _PLAN) == found
    else:
        assert "checkpoint is damaged" in str(found)


def _checkpoint_text() -> bytes:
    told = Told(7, 12_000_000, "The boiler is next.", ("bow", "stern"), 10_800, 7_200, 3)
    standings = (
        Standing(3, 8, Anchor(-38.5, 179.25, 12), 12_000_000, InForce(frozenset({3, 40}), 47), told),
        Standing(zones=InForce()),
    )
    programme = 11, Programme(pinned="x", schedule=("bow",), next_dive_in_s=10_000)
    log = LogStart(5, 47, 3, 1, (bytes(range(32)), bytes(32)))
    return write_checkpoint(Checkpoint(48, standings, (3, 17, 40), programme, log), _PLAN).encode()


def _sums_text() -> bytes:
    write_sums(_journal())
    return (scratch() / SUMS).read_bytes()


def _results_text(floor_km2: float | None) -> bytes:
    found = Audited(
        audience="public",
        low_km2=120.0,
        level=0.97,
        covered=0.95,
        sites=200,
        turns=72,
        seed=1,
        dive="dive 1",
        dive_sha256="",
        seabed="the chart's own",
        floor_km2=floor_km2,
    )
    digest = sha256(b"").hexdigest()
    kept = Kept(found=found, policy=digest, charts=(digest,), ship_track="", promise_km2=87.0, wall_s=1.9e9, who="Ines")
    _write(scratch(), {"public": kept})
    return (scratch() / RESULTS).read_bytes()


_PLAN = plan(policy("public"), policy("slow"))
_SUMS = _sums_text()
_TOLD = b'[[note]]\nat = "0:28:16"\ntext = "Say how the echo was found."\n[[note]]\nchapter = 1\ntext = "here"\n'

TARGETS = (
    Target("journal-sums", _sums, [b"", _SUMS, _SUMS[:-77], _SUMS.replace(b"row 16", b"row 17")], 1_024),
    Target("checkpoint", _checkpoint, [_checkpoint_text(), b'{"row": 9, "audiences": {}}'], 1_536),
    Target("own-notes", _notes, [_TOLD, b"[[note]]\nchapter = 9_9\n", b"note = 5\n"], 512),
    Target("audit-results", _results, [_results_text(None), _results_text(90.0), b'{"audiences": {}}'], 1_536),
)
