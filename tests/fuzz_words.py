"""Fuzz targets of what the operator says and decides: messages to the desk, rows of the journal, texts.

Properties: a decision that is read is written again as the same decision; a message is answered with true or false and
never raises; a finding lies within its text; what a proof's row says prints on one line and acts on no terminal.
"""

import asyncio
import atexit
import json

from dives import SECOND
from fuzz_target import Target, result_or
from relay.core.decision import read_decision, who_took, write_decision
from relay.core.errors import OperatorError
from relay.core.guest_terms import day_end_s
from relay.core.model import Row, RowKind
from relay.core.place_in_text import find_places
from relay.core.still import read_still, write_still
from relay.core.time_in_text import find_times
from relay.shell.desk.deciding import Deciding
from relay.shell.plan.desk_address import near_address
from relay.shell.plan.expedition_form import listen_address
from relay.shell.plan.feed_url import parse_feed_url
from relay.shell.plan.quantities import (
    angle_deg,
    area_km2,
    duration_us,
    length_m,
    questions_address,
    rate_bits_per_s,
    web_address,
)
from relay.shell.proofs.row_words import row_words
from wheelhouse import Wheelhouse

_LOOP = asyncio.new_event_loop()
atexit.register(_LOOP.close)
_DECIDED = [
    {"do": "hold", "audience": "public", "since": {"public": 7}, "told": {"public": 2}},
    {"do": "resume", "seen": 3, "outside": True},
    {"do": "cut", "from_us": 5, "to_us": 9},
    {"do": "early", "audience": "public", "upto_us": 9},
    {"do": "leg", "vehicle": "Lantern", "leg": "bottom"},
    {"do": "say", "text": "The boiler lies on its side", "vehicle": "Moth", "audiences": ["public"], "wait": True},
    {"do": "target", "name": "Boiler", "vehicle": "Moth", "verdict": "unchecked"},
    {"do": "zone", "name": "stern", "centre": [-38.61, -21.93], "radius_m": 100, "margin_m": 50, "action": "hide"},
    {"do": "expect", "vehicle": "Moth", "return_in_s": 3600, "return_grace_s": 60, "report_every_s": 600,
     "report_grace_s": 60},
    {"do": "invite", "guest": "0a1b2c3d", "audience": "family", "invited": "Ines", "until": "2026-12-31"},
    {"do": "programme", "pinned": "Tomorrow we look at the bow", "schedule": ["2 h: launch"], "next_dive_in_s": 7200},
    {"do": "find", "name": "Bell", "vehicle": "Moth"},
]  # fmt: skip
_TEXTS = (
    "38° 36.9' S, 21° 56' W",
    "2 cables north of the Isoline Marr",
    "launch at 0600, low water",
    "8FVC9G8F+6X, UTM 25H",
)


def _decision(data: bytes) -> None:
    """A row of the journal or a message."""
    decision = result_or(OperatorError, lambda: read_decision(data))
    if isinstance(decision, str):
        return
    row = write_decision(decision, "Ines")  # type: ignore[arg-type]
    assert read_decision(row) == decision
    assert who_took(row) == "Ines"


def _message(data: bytes) -> None:
    """A message to the desk or its socket, as it came."""
    bridge = Wheelhouse()
    deciding = Deciding(bridge, lambda: 0.0)
    answer = _LOOP.run_until_complete(deciding.take(data))
    assert answer["ok"] in (True, False)
    assert answer["ok"] or isinstance(answer["why"], str)
    json.dumps(answer, ensure_ascii=False, allow_nan=False).encode(errors="backslashreplace")
    stopped = _LOOP.run_until_complete(deciding.stop(data.decode("utf-8", "replace")))
    assert stopped["held"] is True


def _text(data: bytes) -> None:
    """An annotation or a programme, searched for places and times."""
    text = data.decode("utf-8", "replace")[:2_000]
    for finding in (*find_places(text, forbidden=("Isoline",), scene=("Lantern", "Moth")), *find_times(text)):
        assert 0 <= finding.start < finding.end <= len(text), finding
        assert finding.why


def _row(data: bytes) -> None:
    """A row of somebody's proof, in words."""
    for kind in RowKind:
        for line in row_words(Row(5, 7 * SECOND, 1.8e9, "station", kind, data)):
            assert line.isprintable(), line


def _still(data: bytes) -> None:
    value = result_or((ValueError, RecursionError), lambda: json.loads(data))
    still = result_or(OperatorError, lambda: read_still(value))
    if not isinstance(still, str):
        assert write_still(still) == value  # type: ignore[arg-type]


_VALUES = (
    (duration_us, (ValueError,)), (length_m, (ValueError,)), (area_km2, (ValueError,)), (angle_deg, (ValueError,)),
    (rate_bits_per_s, (ValueError,)), (questions_address, (ValueError,)), (web_address, (ValueError,)),
    (listen_address, (ValueError,)), (parse_feed_url, (OperatorError,)), (day_end_s, (OperatorError,)),
    (lambda text: near_address(*listen_address(text)), (ValueError,)),
)  # fmt: skip


def _value(data: bytes) -> None:
    """A value of an expedition or shore file: a quantity, an address, a feed."""
    text = data.decode("utf-8", "replace")
    for read, errors in _VALUES:
        result_or(errors, lambda read=read: read(text))  # type: ignore[misc]


_MESSAGES = [json.dumps({**each, "who": "Ines"}).encode() for each in _DECIDED]
_WRITTEN = ("45 min", "25 m", "1.5 km2", "22.5 deg", "64 kbit/s", "https://questions.example/", "mailto:a@b.example",
            "127.0.0.1:8090", "[::1]:8090", "udp://239.1.2.3:10110?interface=192.0.2.1", "serial:/dev/ttyS0?baud=4800",
            "tcp://192.0.2.1:4010", "ws://192.0.2.1:80/feed", "2026-12-31")  # fmt: skip
TARGETS = (
    Target("decision", _decision, _MESSAGES, 1_024),
    Target("desk-message", _message, [*_MESSAGES, b'{"do": "status"}'], 1_024),
    Target("text", _text, [text.encode() for text in _TEXTS], 1_024),
    Target(
        "proved-row", _row, [*_MESSAGES, b'{"vehicle": "Moth", "depth_m": 4.5}\n', b"$GPHDT,274.07,T*03\r\n"], 1_024
    ),
    Target("still", _still, [b'{"jpeg": "/9j/4AAQ", "original": "0f"}'], 4_096),
    Target("plan-value", _value, [text.encode() for text in _WRITTEN], 256),
)
