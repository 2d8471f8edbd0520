"""What every decoder owes, checked while it is fed: all bytes accounted for, and a bounded remainder."""

import json
from collections.abc import Iterable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import pytest

from relay.core.model import Accepted, Decoder, Event, PassedOver, Rejected

VECTORS = Path(__file__).parent / "vectors"


def feed(decoder: Decoder, chunks: Iterable[bytes], most_pending: int) -> list[Event]:
    """Feed the chunks and then the end; check the account and the bound after each."""
    events: list[Event] = []
    owed = bytearray()
    for chunk in chunks:
        owed += chunk
        told = decoder.receive(chunk)
        for event in told:
            assert event.raw
            assert owed.startswith(event.raw)
            del owed[: len(event.raw)]
        assert decoder.pending == owed
        assert not (owed and decoder.at_rest)
        assert len(owed) <= most_pending
        events += told
    told = decoder.end()
    assert b"".join(event.raw for event in told) == owed
    assert decoder.pending == b""
    assert decoder.at_rest
    return events + told


def bytewise(data: bytes) -> Iterator[bytes]:
    """Cut into single bytes."""
    return (data[at : at + 1] for at in range(len(data)))


def cut(data: bytes, places: Iterable[int]) -> list[bytes]:
    """Cut at the given places, which may lie anywhere."""
    edges = [0, *sorted(place % (len(data) + 1) for place in places), len(data)]
    return [data[before:after] for before, after in pairwise(edges)]


def read_vectors(name: str) -> list[Any]:
    """Return the vectors of a file as pytest parameters named after them."""
    return [pytest.param(vector, id=vector["name"]) for vector in json.loads((VECTORS / name).read_text())["vectors"]]


def check_events(events: list[Event], expected: list[dict[str, Any]]) -> None:
    """Compare events with those of a vector: kind, reason, size, and every field of the observation."""
    assert [_outline(event) for event in events] == [
        {key: value for key, value in item.items() if key != "observation"} for item in expected
    ]
    for event, item in zip(events, expected, strict=True):
        if isinstance(event, Accepted):
            told = {
                name: value for name, value in msgspec.structs.asdict(event.observation).items() if value is not None
            }
            assert told.keys() == item["observation"].keys()
            for name, value in item["observation"].items():
                assert told[name] == (value if isinstance(value, str) else pytest.approx(value, rel=1e-7, abs=1e-9))


def _outline(event: Event) -> dict[str, Any]:
    if isinstance(event, Accepted):
        return {"accepted": event.kind, "size": len(event.raw)}
    if isinstance(event, PassedOver):
        return {"passed_over": event.kind, "why": event.why, "size": len(event.raw)}
    assert isinstance(event, Rejected)
    return {"rejected": event.reason, "size": len(event.raw)}
