"""A field withheld is gone: from every record, its bytes and the header, and nothing else is."""

import msgpack
import pytest

from played_cases import bottom, released_dive
from relay.audit.attacks.attack import Dive
from relay.audit.withheld import COLUMNS, told_fields, without
from relay.core.disclosure import Report
from relay.core.policy import Disclosed, Place
from relay.core.release import Kind, _row


def full_dive(**changes: object) -> Dive:
    """Return a dive in which every field of a tick is told."""
    report = Report(
        heard=True, east_m=25, north_m=-50, depth_m=120, heading_deg=45, altitude="on the bottom", mode="tethered",
        leg="bottom", pitch_deg=5, roll_deg=-5, position=(-38.6, -21.9),
    )  # fmt: skip
    return released_dive([report, bottom(50.0, -50.0, 121.0)], **changes)


@pytest.mark.parametrize("field", COLUMNS)
def test_withheld_field_is_gone_and_the_others_are_not(field: Disclosed) -> None:
    """In each tick only that field's columns are empty."""
    dive, less = full_dive(place=Place.EXACT), without(full_dive(place=Place.EXACT), field)
    for before, after in zip(dive.records, less.records, strict=True):
        if before.kind == Kind.TICK:
            pairs = list(zip(before.body[0], after.body[0], strict=True))
            assert [at in COLUMNS[field] for at in range(len(pairs))] == [
                at in COLUMNS[field] and new is None for at, (_, new) in enumerate(pairs)
            ]
            assert all(new == old for at, (old, new) in enumerate(pairs) if at not in COLUMNS[field])
    assert str(field) not in less.header["fields"]
    assert {str(name) for name in Disclosed} - {str(field)} == set(less.header["fields"])


def test_columns_are_those_of_the_release() -> None:
    """A report with one field set fills that field's column and no other."""
    values = {"east_m": 1, "depth_m": 2, "heading_deg": 3, "altitude": "x", "mode": "y", "leg": "z", "pitch_deg": 4}
    values |= {"roll_deg": 5}
    fields = [Disclosed.TRACK, Disclosed.DEPTH, Disclosed.HEADING, Disclosed.ALTITUDE, Disclosed.MODE, Disclosed.LEG]
    for field, (name, value) in zip([*fields, Disclosed.PITCH, Disclosed.ROLL], values.items(), strict=True):
        row = _row(Report(heard=True, **{name: value}))  # type: ignore[arg-type]
        assert row.index(value) in COLUMNS[field]


def test_bytes_hold_what_the_records_hold() -> None:
    """The bytes of each record say what the record says: none of the old ones are left."""
    less = without(full_dive(), Disclosed.DEPTH)
    for record in less.records:
        assert [*record[:5]] == msgpack.unpackb(record.data)[:5]


def test_notes_and_stills_go_whole_with_their_send_times() -> None:
    """Records of words are left out, and the times of the others stay theirs."""
    dive = full_dive()
    timed = Dive(dive.name, dive.header, dive.records, tuple(float(at) for at in range(len(dive.records))))
    less = without(timed, Disclosed.NOTES)
    assert [record.seq for record in less.records] == [int(at) for at in less.sent_s or ()]
    assert Kind.NOTE not in {record.kind for record in less.records}
    assert len(dive.records) - 1 == len(less.records)


def test_told_fields_are_those_of_which_something_was_told() -> None:
    """A field that the policy names and no record tells gives nothing away."""
    assert [Disclosed.TRACK, Disclosed.DEPTH, Disclosed.NOTES] == told_fields(
        [released_dive([Report(heard=True, east_m=0, north_m=0, depth_m=1)])]
    )
    every = set(told_fields([full_dive()]))
    assert {Disclosed.STILLS} == set(Disclosed) - every
