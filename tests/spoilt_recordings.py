"""Recordings that no relay writes, as a stranger may hand them on: signed by a hand of his own, or by nobody."""

from typing import Any

import msgpack

from relay.core.seal import Signer
from relay.core.wire import footer
from released import dive_with_everything

STRANGER = Signer(bytes(range(1, 33)))
# ECMA-48's escape in 7 and 8 bits, a bell, a delete, turns of the writing direction (UAX 9), lines, markup.
EVIL = (
    "</script><script>window.owned=1</script><img src=x onerror=window.owned=1>"
    "\x1b[2J\x9b31m\x07\x7f\u202e\u2066\r\nVerified"
)
ODD: dict[str, Any] = {
    "nothing": None, "a moment": msgpack.Timestamp(1, 2), "an extension": msgpack.ExtType(5, b"0123456789"),
    "no number": float("nan"), "more than any": float("inf"), "2^64 - 1": 2**64 - 1, "-2^63": -(2**63), "true": True,
    "a text": "x", "a long text": "9" * 5_000, "bytes": b"x", "a map": {}, "a map of bytes": {b"x": 1}, "a list": [],
}  # fmt: skip


def values() -> list[list[Any]]:
    """Return the records of a sound dive as lists: header, tick, head, target, tick, target, head, end."""
    return [msgpack.unpackb(frame.data) for frame in dive_with_everything(1)]


def written(records: list[list[Any]], signer: Signer | None = STRANGER, **header: Any) -> bytes:
    """Return the recording of such records, whole to its footer, with other things in its header."""
    named = {**records[0][4], **header, "key": None if signer is None else signer.key.hex()}
    frames = []
    for dive, seq, kind, elapsed_s, body, _ in records:
        told = [dive, seq, kind, elapsed_s, named if seq == 0 else body]
        frame = b"\x96" + b"".join(map(msgpack.packb, told)) + b"\xc5\x00\x40" + bytes(64)
        frames.append(frame if signer is None else signer.seal(str(named["audience"]), frame))
    return b"".join(frames) + footer(frames)


def nested(depth: int) -> list[Any]:
    """Return lists in lists."""
    inner: list[Any] = []
    for _ in range(depth):
        inner = [inner]
    return inner


def evil() -> bytes:
    """Return a recording of the right form in which every text is hostile."""
    records = values()
    for number in (3, 5):
        records[number][4][1] = EVIL
    return written(records, expedition=EVIL, vehicles=[EVIL[:100]], area=EVIL)


def spoilt() -> dict[str, bytes]:
    """Return recordings by what is wrong with them: each that a command could stumble over."""
    found = {}
    for name, value in ODD.items():
        for where in ("body", "row", "moment", "target"):
            records = values()
            if where == "body":
                records[1][4] = value
            elif where == "row":
                records[1][4] = [[value] * 10]
            elif where == "moment":
                records[1][3] = value
            else:
                records[3][4] = [value, value, value]
            found[f"{where}: {name}"] = written(records)
        for key in ("vehicles", "expedition", "cell_m", "delay_s"):
            if not (key == "cell_m" and value is None) and not (key == "expedition" and value == "x"):
                found[f"{key}: {name}"] = written(values(), **{key: value})
    for depth in (100, 1_000):
        found[f"{depth} deep"] = written(values(), more=nested(depth))
    for number in (0, -5, 2**63):
        records = values()
        for record in records:
            record[0] = number
        found[f"dive {number}"] = written(records)
    return found
