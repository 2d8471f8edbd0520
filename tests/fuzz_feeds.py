"""Fuzz targets of what stations send: each format's decoder, and a capture or log of it read whole.

Properties: no byte is lost or told twice, and how the bytes were cut changes nothing (`relay.core.model.Decoder`);
whatever is accepted is a number in its range; nothing is raised but what the module declares.
"""

import gzip
import json
from pathlib import Path

import msgspec

from decoder_checks import VECTORS, feed
from fuzz_target import Target, as_file, pieces, result_or
from relay.core.errors import CaptureError
from relay.core.mavlink import LONGEST_FRAME
from relay.core.model import Accepted, Event
from relay.core.own_time import read_log
from relay.core.policy import SourcePlan
from relay.core.ranges import RANGES, note_fault, out_of_range
from relay.core.sources import decoder_for
from relay.shell.feeds.capture import read_capture, unpacked
from relay.shell.record.import_log import check_reading

PLANS = {
    name: SourcePlan(name="station", format=name, vehicle="Lantern")
    for name in ("nmea0183", "mavlink", "station-json", "station-msgpack")
}
_PENDING = {"nmea0183": 4_096, "mavlink": 2 * LONGEST_FRAME, "station-json": 65_536, "station-msgpack": 65_600}
_ENDINGS = {"nmea0183": ".nmea", "mavlink": ".tlog", "station-json": ".jsonl"}


def _told(events: list[Event]) -> list[Event]:
    """Check what was accepted, and return all of it."""
    for event in events:
        values = msgspec.structs.asdict(event.observation) if isinstance(event, Accepted) else {}
        wrong = [name for name in RANGES if values.get(name) is not None and out_of_range(name, values[name])]
        assert not wrong, (wrong, event)
        assert values.get("note") is None or note_fault(values["note"]) is None, event
    return events


def _decoder(name: str) -> Target:
    def check(data: bytes) -> None:
        cut, whole = pieces(data)
        told = _told(feed(decoder_for(PLANS[name]), cut, _PENDING[name]))
        assert told == feed(decoder_for(PLANS[name]), [whole], _PENDING[name])

    return Target(name, check, [bytes([step]) + raw for raw in _raws(name) for step in (0, 7)], 2_048)


def _raws(name: str) -> list[bytes]:
    """Return the vectors of a format, which are hand-made, each alone."""
    file = {"nmea0183": "nmea0183", "mavlink": "mavlink"}.get(name, "station_message")
    vectors = json.loads((VECTORS / f"{file}.json").read_text(encoding="utf-8"))["vectors"]
    return [bytes.fromhex(vector["hex"]) for vector in vectors if vector.get("format", name[8:]) == name[8:]][:40]


def _log(name: str) -> Target:
    """Read a capture and a vehicle's own log, as `offing rehearse` and `offing journal import` do."""
    path = Path(f"log{_ENDINGS.get(name, '.mpk')}")

    def check(data: bytes) -> None:
        reading = read_log(data, PLANS[name], "Lantern", 0.0)
        assert all(report.t_s == report.t_s for report in reading.reports)
        result_or(CaptureError, lambda: check_reading(path, "Lantern", PLANS[name], reading, data))
        if name in _ENDINGS:
            file = as_file(data, path.name)
            chunks = result_or(CaptureError, lambda: list(read_capture(file, rate=5.0)))
            if isinstance(chunks, list) and name != "mavlink":
                assert b"".join(chunk.data for chunk in chunks) == data
            times = [chunk.t_s for chunk in chunks] if isinstance(chunks, list) else []
            assert times == sorted(times)

    return Target(f"log-{name}", check, [b"".join(_raws(name)[:12]), *_raws(name)[:12]], 2_048)


def _unpacked(data: bytes) -> None:
    result_or(CaptureError, lambda: unpacked(Path("log.nmea.gz"), data, 1 << 16))


TARGETS = (
    *map(_decoder, PLANS),
    *map(_log, PLANS),
    Target("log-packed", _unpacked, [gzip.compress(b"$GPZDA", mtime=0)]),
)
