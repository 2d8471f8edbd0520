"""Write tests/vectors/wire.json: records as the release log makes them, with their frames.

Run after a change of the wire (and of its version): python tests/make_wire_vectors.py. The browser's decoder and
the Python one are both tested on the file; `test_wire.py` holds the encoder to it.
"""

import json
from hashlib import sha256
from pathlib import Path
from typing import Any

from dives import SIGNER, sealed
from relay.core.disclosure import Report
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.release import ReleasedRecord, ReleaseLog
from relay.core.still import Still
from relay.core.wire import decode, footer

SECOND = 1_000_000
PATH = Path(__file__).parent / "vectors" / "wire.json"
# 16 by 8 pixels, written by Pillow 13: pinned, so that the vectors don't depend on what is installed.
JPEG_HEX = (
    "ffd8ffe000104a46494600010100000100010000ffdb00430017101114110e171412141a18171b223925221f1f22463235293952485755"
    "5148504e5b66836f5b617c624e50729b737c878b929492586da0ac9f8eaa838f928dffdb004301181a1a221e22432525438d5e505e8d8d"
    "8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8d8dffc00011080008"
    "001003012200021101031101ffc400160001010100000000000000000000000000000406ffc40014100100000000000000000000000000"
    "000000ffc4001501010100000000000000000000000000000304ffc40017110100030000000000000000000000000000020441ffda000c"
    "03010002110311003f0089b9024d256d7fffd9"
)


def records() -> list[ReleasedRecord]:
    """Return the records of a short dive of two vehicles that together use every kind and every kind of value."""
    policy = Policy(
        audience="public", delay_us=2700 * SECOND, extra_us=600 * SECOND, tick_us=15 * SECOND,
        fields=frozenset(Disclosed), cell_m=25.0, depth_step_m=10.0,
    )  # fmt: skip
    plan = Plan(
        expedition="The search for the Isoline Marr", vehicles=("Lantern", "Moth"), sources=(), policies=(policy,)
    )
    log = ReleaseLog(policy, plan, 1, 0, SIGNER.key)
    silent = Report(heard=False)
    full = Report(True, -1250, 3075, 1120, 337.5, "near the bottom", "autonomous", "bottom", -5, 0)
    half = Report(True, 12.5, None, 0.1, 0, None, "tethered", None, None, -180)
    return [
        log.open(0),
        log.tick(0, [silent, silent]),
        log.head(0, sha256().digest()),  # RFC 9162 section 2.1.1: of the empty log
        log.tick(15 * SECOND, [full, half]),
        log.note(15 * SECOND, 0, "Plätze für zwölf Kisten; the boiler — as found"),
        log.note(30 * SECOND, None, "x" * 500),
        log.tick(30 * SECOND + SECOND // 2, [half, full]),
        log.still(30 * SECOND + SECOND // 2, 1, "Die Glocke", Still(bytes.fromhex(JPEG_HEX), "0f" * 32)),
        log.head(30 * SECOND + SECOND // 2, bytes(range(224, 256))),
        log.end(45 * SECOND),
    ]


def hexed(body: Any) -> Any:
    """Return a body as JSON can hold it: bytes in hexadecimal."""
    return [item.hex() if isinstance(item, bytes) else item for item in body] if isinstance(body, list) else body


def vectors() -> dict[str, object]:
    """Return the content of the vector file."""
    frames = [sealed(record) for record in records()]
    return {
        "provenance": "made by tests/make_wire_vectors.py from the release log's own encoder; MessagePack 2.0",
        "key": SIGNER.key.hex(),
        "audience": "public",
        "frames": [
            {"hex": frame.hex(), "dive": read.dive, "seq": read.seq, "kind": read.kind,
             "elapsed_s": read.elapsed_s, "body": hexed(read.body)}
            for frame in frames for read in [decode(frame)]
        ],
        "footer_hex": footer(frames).hex(),
    }  # fmt: skip


if __name__ == "__main__":
    PATH.write_text(json.dumps(vectors(), indent=1, ensure_ascii=False) + "\n")
