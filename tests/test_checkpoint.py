"""The checkpoint as a mark of the journal."""

import json

import pytest

from dives import plan, policy
from relay.core.errors import OperatorError
from relay.core.geodesy import Anchor
from relay.core.hiding import InForce
from relay.core.programme import Programme, Told
from relay.core.record_log import LogStart
from relay.core.restart import Checkpoint, Standing
from relay.shell.record.checkpoint import read_checkpoint, write_checkpoint

TWO = plan(policy("public"), policy("slow"))


def test_checkpoint_comes_back_as_it_was_written() -> None:
    """Row, standings and the rows that still count survive, to the last bit of an anchor."""
    for anchor in (None, Anchor(-38.61472000000001, 179.99999999999997, 12)):
        zones = InForce(frozenset({3, 4_000}), 4_720)
        standings = (Standing(3, 8, anchor, 12_000_000, zones), Standing(1, -4_000_000, None, zones=InForce()))
        checkpoint = Checkpoint(4_711, standings, (3, 17, 4_000))
        assert read_checkpoint(write_checkpoint(checkpoint, TWO), TWO) == checkpoint


def test_checkpoint_keeps_each_audiences_standing_by_name() -> None:
    """When audiences are added or change places in the file, each goes on with its own."""
    public, slow = Standing(3, 7, Anchor(1.5, 2.5, 6), zones=InForce(frozenset({4}), 9)), Standing(5, 2, None)
    text = write_checkpoint(Checkpoint(9, (public, slow)), TWO)
    other = plan(policy("new"), policy("slow"), policy("public"))
    assert read_checkpoint(text, other) == Checkpoint(9, (Standing(), slow, public))
    assert read_checkpoint(None, TWO) is None


def test_checkpoint_keeps_where_the_exact_records_log_goes_on() -> None:
    """Minute, row and frontier come back to the bit; one from before there was a log, or its leaves, has none."""
    log = LogStart(5, 4_700, 3, 1, (bytes(range(32)), bytes(32)))
    checkpoint = Checkpoint(4_711, (Standing(), Standing()), record=log)
    text = write_checkpoint(checkpoint, TWO)
    assert read_checkpoint(text, TWO) == checkpoint
    older = json.loads(text)
    older["record"] = [5, 4_700, []]
    assert read_checkpoint(json.dumps(older), TWO) == Checkpoint(4_711, (Standing(), Standing()))
    del older["record"]
    assert read_checkpoint(json.dumps(older), TWO) == Checkpoint(4_711, (Standing(), Standing()))


def test_checkpoint_of_a_relay_that_knew_no_zones_of_the_desk_is_read() -> None:
    """A site goes on after an update: nothing before it counts, and every zone that is told is in force."""
    text = '{"row": 9, "audiences": {"public": {"next_dive": 3, "had_us": 7, "anchor": null, "instant_us": 0}}}'
    assert read_checkpoint(text, plan(policy("public"))) == Checkpoint(9, (Standing(3, 7),), ())


def test_checkpoint_keeps_what_each_audience_was_told_and_what_was_decided() -> None:
    """The programme comes back as it was told to each, and as the operator has it; older marks have none."""
    told = Told(7, 12_000_000, "The boiler is next.", ("bow", "stern"), 10_800, 7_200, 3)
    standings = (Standing(3, 8, told=told), Standing(1, -1))
    decided = (11, Programme(pinned="x", schedule=("bow",), next_dive_in_s=10_000))
    checkpoint = Checkpoint(9, standings, programme=decided)
    assert read_checkpoint(write_checkpoint(checkpoint, TWO), TWO) == checkpoint
    older = '{"row": 9, "audiences": {"public": {"next_dive": 3, "had_us": 8, "anchor": null, "instant_us": 0}}}'
    assert read_checkpoint(older, TWO) == Checkpoint(9, (Standing(3, 8), Standing()))


TEXT = write_checkpoint(Checkpoint(9, (Standing(3, 7, Anchor(1.5, 2.5, 6)), Standing()), record=LogStart(5, 8)), TWO)


@pytest.mark.parametrize(
    ("there", "instead"),
    [
        (TEXT, TEXT[:-9]),
        ('"row": 9', '"row": "9"'),
        ('"row": 9', '"row": -9'),
        ('"row": 9', f'"row": {1 << 63}'),
        ('"next_dive": 3', '"next_dive": 0'),
        ('"had_us": 7', '"had_us": 7.5'),
        ('"had_us": 7', f'"had_us": -{1 << 63}'),
        ("1.5, 2.5", "91.5, 2.5"),
        ("1.5, 2.5", "NaN, 2.5"),
        ('"desk": []', '"desk": [-1]'),
        ('"programme": null', '"programme": [11]'),
        ("[5, 8, 0, 0, []]", "[5, 8, 1, 0, []]"),
        ("[5, 8, 0, 0, []]", '[5, 8, 1, 0, ["a"]]'),
        ("[5, 8, 0, 0, []]", '[5, 8, 1, 0, ["ab"]]'),
        ('"audiences": {', '"audiences": {"\ud800": 3, '),
    ],
)
def test_damaged_checkpoint_is_refused_in_words(there: str, instead: str) -> None:
    """A restart that guessed could release a dive twice: it says what is damaged, and what to do."""
    assert read_checkpoint(TEXT, TWO) is not None
    damaged = TEXT.replace(there, instead)
    assert damaged != TEXT
    with pytest.raises(OperatorError, match=r"the journal's checkpoint is damaged .* `offing journal verify`"):
        read_checkpoint(damaged, TWO)
