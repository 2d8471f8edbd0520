"""Write tests/vectors/wire.json: records as the release log makes them, with their frames.

Run after a change of the wire (and of its version): python tests/make_wire_vectors.py. The browser's decoder and
the Python one are both tested on the file; `test_wire.py` holds the encoder to it.
"""

import json
from pathlib import Path

from relay.core.disclosure import Report
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.release import ReleasedRecord, ReleaseLog
from relay.core.wire import decode, encode, footer

SECOND = 1_000_000
PATH = Path(__file__).parent / "vectors" / "wire.json"


def records() -> list[ReleasedRecord]:
    """Return the records of a short dive of two vehicles that together use every kind and every kind of value."""
    policy = Policy(
        audience="public", delay_us=2700 * SECOND, extra_us=600 * SECOND, tick_us=15 * SECOND,
        fields=frozenset(Disclosed), cell_m=25.0, depth_step_m=10.0,
    )  # fmt: skip
    plan = Plan(
        expedition="The search for the Isoline Marr", vehicles=("Lantern", "Moth"), sources=(), policies=(policy,)
    )
    log = ReleaseLog(policy, plan, 1, 0)
    silent = Report(heard=False)
    full = Report(True, -1250, 3075, 1120, 337.5, "near the bottom", "autonomous", "bottom", -5, 0)
    half = Report(True, 12.5, None, 0.1, 0, None, "tethered", None, None, -180)
    return [
        log.open(0),
        log.tick(0, [silent, silent]),
        log.tick(15 * SECOND, [full, half]),
        log.note(15 * SECOND, 0, "Plätze für zwölf Kisten; the boiler — as found"),
        log.note(30 * SECOND, None, "x" * 500),
        log.tick(30 * SECOND + SECOND // 2, [half, full]),
        log.end(45 * SECOND),
    ]


def vectors() -> dict[str, object]:
    """Return the content of the vector file."""
    frames = [encode(record) for record in records()]
    return {
        "provenance": "made by tests/make_wire_vectors.py from the release log's own encoder; MessagePack 2.0",
        "frames": [
            {"hex": frame.hex(), "dive": read.dive, "seq": read.seq, "kind": read.kind,
             "elapsed_s": read.elapsed_s, "body": read.body}
            for frame in frames for read in [decode(frame)]
        ],
        "footer_hex": footer(frames).hex(),
    }  # fmt: skip


if __name__ == "__main__":
    PATH.write_text(json.dumps(vectors(), indent=1, ensure_ascii=False) + "\n")
