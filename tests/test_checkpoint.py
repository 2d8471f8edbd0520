"""The checkpoint as a mark of the journal."""

from dives import plan, policy
from relay.core.geodesy import Anchor
from relay.core.pipeline import Checkpoint
from relay.shell.checkpoint import read_checkpoint, write_checkpoint

TWO = plan(policy("public"), policy("slow"))


def test_checkpoint_comes_back_as_it_was_written() -> None:
    """Row, next dives and anchor survive, to the last bit of the anchor."""
    for anchor in (None, Anchor(-38.61472000000001, 179.99999999999997, 12)):
        checkpoint = Checkpoint(4_711, (3, 1), (8, -1), anchor)
        assert read_checkpoint(write_checkpoint(checkpoint, TWO), TWO) == checkpoint


def test_checkpoint_keeps_each_audiences_number_by_name() -> None:
    """When audiences are added or change places in the file, each goes on with its own next dive."""
    text = write_checkpoint(Checkpoint(9, (3, 5), (7, 2), None), TWO)
    other = plan(policy("new"), policy("slow"), policy("public"))
    assert read_checkpoint(text, other) == Checkpoint(9, (1, 5, 3), (-1, 2, 7), None)
    assert read_checkpoint(None, TWO) is None
