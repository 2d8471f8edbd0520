"""Fuzz targets of files that somebody hands on, opened by the commands that open them: recordings, proofs, drawings.

Properties: a command ends with 0 or 2 and its words hold nothing that acts on a terminal; what is read whole is written
again as the same bytes; nothing is raised but what the module declares.
"""

import io
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from copy import deepcopy
from typing import Any

import msgpack

from dives import SECOND
from fuzz_target import Target, as_file, result_or, scratch
from relay.__main__ import main
from relay.core.errors import OperatorError, ProofError, RecordingError
from relay.core.find import Drawn
from relay.core.minute_tree import LEVELS, SALT_OCTETS
from relay.core.model import Row, RowKind
from relay.core.proof import Proof, Proved, read_proof, write_proof
from relay.core.record_log import Inclusion
from relay.core.verification import examine
from relay.core.wire import decode, footer, pad_start, read_recording, whole_octets
from relay.shell.finds.outlines import read_outlines
from relay.shell.released.programme_file import read_programme
from released import dive, dive_with_everything, dive_with_heads

_RECORDING = b"".join(frame.data for frame in dive(1, 3))
_RICH = b"".join(frame.data for frame in dive_with_everything(2)) + footer(
    frame.data for frame in dive_with_everything(2)
)
_SEALED = b"".join(frame.data for frame in dive_with_heads(3, [bytes(32)]))


def _said(*arguments: str) -> int:
    """Run a command; return how it ended, its words checked."""
    out, told = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(told):
        code = main(list(arguments))
    words = out.getvalue() + told.getvalue()
    acting = {letter for letter in words if not (letter.isprintable() or letter == "\n")}
    assert not acting, f"{arguments[0]} prints {acting!r}"
    assert code in (0, 2), code
    return code


def _record(data: bytes) -> None:
    """One frame."""
    record = result_or(RecordingError, lambda: decode(data))
    if not isinstance(record, str):
        assert record.data == data  # type: ignore[attr-defined]
    start = result_or(RecordingError, lambda: pad_start(data))
    assert isinstance(start, str) or 0 < start <= len(data)  # type: ignore[operator]
    path = as_file(data, "programme.record")
    result_or(RecordingError, lambda: read_programme(path))


def _recording(data: bytes) -> None:
    """A recording's bytes, and what is made of them."""
    result_or(RecordingError, lambda: examine(data))
    assert 0 <= whole_octets(data) <= len(data)
    try:
        found = read_recording(data)
    except RecordingError:
        return
    frames = [record.data for record in found.records]
    again = b"".join(frames) + (footer(frames) if found.closed else b"")
    assert again + data[len(data) - found.torn_bytes :] == data if found.torn_bytes else again == data


_COMMANDS = (
    ("show",),
    ("show", "--figures"),
    ("verify", "--unfinished"),
    ("export", "--force", "-o", "out.geojson"),
    ("export", "--force", "-o", "out.csv"),
    ("report", "--force", "--html", "out.html"),
    ("brief", "--force", "--unfinished", "-o", "brief.html"),
)


def _handed_on(data: bytes) -> None:
    """A recording that somebody hands on, opened by the command that the first byte chooses."""
    command, *options = _COMMANDS[data[0] % len(_COMMANDS) if data else 0]
    path = as_file(data[1:], "dive-001.recording")
    _said(command, str(path), *(str(scratch() / option) if "." in option else option for option in options))


_VALUES: tuple[Any, ...] = (
    *(None, True, 0, -1, 1 << 40, (1 << 63) - 1, 1e308, float("nan"), float("inf"), 0.5),
    *("", "reporting", "<script>", "\x1b[2J", "\u202e", "x" * 300, b"\xff", [], [[]] * 12, [None] * 12),
    *({}, {"format": 1}, ["Lantern"], ["reporting"] * 10, [1.5, -2.5], msgpack.Timestamp(1, 5)),
)


def _altered(data: bytes) -> None:
    """A recording of which some values are others, each behind a change of three bytes, opened by a command.

    They say which record, which of the values within it, and which other value stands there then.
    """
    command, *options = _COMMANDS[data[0] % len(_COMMANDS) if data else 0]
    records = _unsigned()
    for at in range(1, len(data) - 2, 3):
        record, node, value = data[at : at + 3]
        within = list(_nodes(records[record % len(records)]))
        owner, key = within[node % len(within)]
        owner[key] = deepcopy(_VALUES[value % len(_VALUES)])
    frames = [msgpack.packb(record) for record in records]
    path = as_file(b"".join(frames) + footer(frames), "dive-002.recording")
    _said(command, str(path), *(str(scratch() / option) if "." in option else option for option in options))


def _unsigned() -> list[Any]:
    """Return the records of a dive that nobody signed: a signature would stop every change before it is read."""
    records = [msgpack.unpackb(frame.data) for frame in dive_with_everything(2)]
    records[0][4].pop("key", None)
    return [[*record[:5], bytes(len(record[5]))] for record in records]


def _nodes(value: Any) -> Iterator[tuple[Any, Any]]:
    """Yield each place within a value, as what holds it and its key or number there."""
    places = list(value.items() if isinstance(value, dict) else enumerate(value))
    for key, inner in places:
        yield value, key
        if isinstance(inner, list | dict):
            yield from _nodes(inner)


def _proof(data: bytes) -> None:
    found = result_or(ProofError, lambda: read_proof(data))
    assert isinstance(found, str) or write_proof(found) == data  # type: ignore[arg-type]


def _proof_seed() -> bytes:
    """Return a proof of one row, well-formed, that leads nowhere."""
    row = Row(5, 7 * SECOND, 1.8e9, "desk", RowKind.DECISION, b'{"do": "begin", "who": "Ines"}')
    way = Inclusion(3, (bytes(32),) * LEVELS, 0, 1, (), bytes(32))
    proved = Proved(row, bytes(SALT_OCTETS), 4, way)
    return write_proof(Proof("The search for the Isoline Marr", "public", 1, (proved,)))


def _outlines(data: bytes) -> None:
    path = as_file(data, "outline.geojson")
    for kind in Drawn:
        result_or(OperatorError, lambda kind=kind: read_outlines(path, kind))  # type: ignore[misc]


_OUTLINES = [
    b'{"type": "Point", "coordinates": [-21.9, -38.6]}',
    b'{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point","coordinates":[-21,9]}}]}',
    b'{"type":"Feature","geometry":{"type":"LineString","coordinates":[[-21.9,-38.6],[-21.8,-38.5]]},"properties":{}}',
    b'{"type":"GeometryCollection","geometries":[{"type":"Polygon","coordinates":[[[0,0],[0,1],[1,1],[0,0]]]}]}',
    b'{"type":"MultiPoint","crs":{"type":"name","properties":{"name":"EPSG:4326"}},"coordinates":[[1,2],[3,4]]}',
]
_RECORDINGS = [_RECORDING, _RICH, _SEALED, _RECORDING[:700]]
_HANDED_ON = [bytes([at]) + (_RECORDING if at % 2 else _RICH) for at in range(len(_COMMANDS))] + [b"\1" + _SEALED]

TARGETS = (
    Target("record", _record, [frame.data for frame in (*dive(1, 1), *dive_with_everything(1))], 512),
    Target("recording", _recording, _RECORDINGS, 3_072),
    Target("recording-handed-on", _handed_on, _HANDED_ON, 3_072),
    Target("recording-altered", _altered, [bytes([at, 0, 0, 0, at, 9, 9, 3]) for at in range(7)], 64),
    Target("proof", _proof, [_proof_seed()], 8_192),
    Target("outlines", _outlines, _OUTLINES, 1_024),
)
