"""What may stand where in a recording: everything besides is noticed, and nothing that should be there is."""

import struct
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from typing import Any

import msgpack
import pytest

from audited import journal
from dives import plan, policy
from relay.audit.attacks.attack import Dive
from relay.audit.attacks.leak_shape import odd_in
from relay.core.policy import Disclosed, Leg, Place, Policy
from relay.core.wire import WireRecord, decode
from told_besides import released, survey, with_pad

POLICIES = {
    "all fields": policy(),
    "depth alone": policy(fields=frozenset({Disclosed.DEPTH})),
    "relative depth, late track": policy(
        depth_relative=True, track_legs=frozenset({Leg.BOTTOM}), track_start_m=100.0, radius_m=500.0, cell_m=12.5
    ),
    "an area alone": policy(place=Place.AREA),
    "exact": policy(place=Place.EXACT, cell_m=1.0, depth_step_m=0.1),
}


@pytest.mark.parametrize("shown", POLICIES.values(), ids=POLICIES)
def test_what_offing_releases_holds_nothing_besides(shown: Policy) -> None:
    """Counter-test: real signed records of every kind of policy keep to their format and their header."""
    odd = odd_in(released(journal(survey(400), 4), plan(shown))["public"])
    assert (list(odd.leaks), odd.values, odd.octets) == ([], [], [])


def dive() -> Dive:
    """Return a real dive."""
    return released(journal(survey(100), 4))["public"]


def tick(change: Callable[[list[Any]], object]) -> Callable[[Dive], Dive]:
    """Return a leak in the first tick's first row."""

    def leaky(sound: Dive) -> Dive:
        at = next(at for at, record in enumerate(sound.records) if record.kind == 1)
        body = msgpack.unpackb(msgpack.packb(sound.records[at].body))
        change(body[0])
        records = list(sound.records)
        records[at] = records[at]._replace(body=body)
        return replace(sound, records=tuple(records))

    return leaky


def header(**more: object) -> Callable[[Dive], Dive]:
    """Return a leak in the header."""
    return lambda sound: replace(sound, header={**sound.header, **more})


def padded(content: bytes) -> Callable[[Dive], Dive]:
    """Return a leak in the padding of the second record."""

    def leaky(sound: Dive) -> Dive:
        records = list(sound.records)
        records[1] = decode(with_pad(records[1].data, content))
        return replace(sound, records=tuple(records))

    return leaky


def appended(kind: int, body: object) -> Callable[[Dive], Dive]:
    """Return a leak by one more record."""
    return lambda sound: replace(
        sound, records=(*sound.records, WireRecord(1, len(sound.records), kind, 0.0, body, sound.records[0].data))
    )


def headed(sound: Dive, *heads: bytes) -> Dive:
    """Return a dive with tree heads behind it, one after another."""
    for head in heads:
        sound = appended(7, [head])(sound)
    return sound


LEAKS: dict[str, tuple[Callable[[Dive], Dive], str]] = {
    "a name in the header": (header(datum=[48.6, -123.4]), "“datum”"),
    "a field of no policy": (header(fields=["track", "pressure"]), "“pressure”"),
    "columns": (tick(lambda row: row.extend([48.6, -123.4])), "columns"),
    "a field that wasn't named": (
        lambda sound: tick(lambda row: row.__setitem__(3, 1_100))(header(fields=["track"])(sound)), "tell depth"
    ),
    "a finer place": (tick(lambda row: row.__setitem__(slice(1, 3), [12.345, 67.891])), "finer"),
    "a finer heading": (tick(lambda row: row.__setitem__(4, 123.4)), "finer"),
    "words of its own": (tick(lambda row: row.__setitem__(5, "3.2 m off the bottom")), "none of its words"),
    "a kind of record": (appended(99, [48.6, -123.4]), "kind 99"),
    "a longer annotation": (appended(2, [0, "bow", 48.6, -123.4]), "4 parts"),
    "an end that says something": (appended(3, {"total_m": 1_234.5}), "the end"),
    "padding without a signature": (padded(b"\x01" * 64), "no signature"),
    "bytes behind the signature": (padded(b"\x01" * 70), "behind the signature"),
    "a head that is no hash": (appended(7, [bytes(31)]), "no hash"),
    "a head that is a place": (appended(7, [48.6, -123.4]), "no hash"),
    "a count beside a head": (appended(7, [bytes(range(32)), 1_234]), "beside them"),
    "the same head again": (lambda sound: headed(sound, bytes(range(32)), bytes(range(32))), "in common"),
    "heads that hold a place": (
        lambda sound: headed(sound, *(struct.pack("<4d", 48.6 + at / 1e4, at, -123.4, 0.0) for at in range(3))),
        "in common",
    ),
    "a picture's own notes": (appended(5, [0, "bow", 4, 3, b"\xff\xd8Exif\0\0GPS"]), "camera"),
}  # fmt: skip


@pytest.mark.parametrize(("leak", "said"), LEAKS.values(), ids=LEAKS)
def test_everything_besides_is_noticed(leak: Callable[[Dive], Dive], said: str) -> None:
    """Positive control: each thing that has no business there is told in words."""
    assert any(said in told for told in odd_in(leak(dive())).leaks)


def test_heads_of_a_whole_day_are_passed_over() -> None:
    """Counter-test: a day of hashes has bytes in common by chance, and never so many that it is told."""
    for day in range(20):
        heads = [sha256(b"%d %d" % (day, minute)).digest() for minute in range(1_440)]
        records = [WireRecord(1, at, 7, 60.0 * at, [head], b"") for at, head in enumerate(heads)]
        assert "common" not in " ".join(odd_in(Dive("a day", {"audience": "public"}, tuple(records))).leaks)


def test_odd_records_raise_nothing() -> None:
    """A recording that somebody hands on may hold anything."""
    broken = WireRecord(1, 1, 1, 0.0, {"not": "a list"}, b"\x01not a frame")
    odd = odd_in(Dive("odd", {"audience": "public", "fields": 7}, (broken,)))
    assert any("no padding" in told for told in odd.leaks)
