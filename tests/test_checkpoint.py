"""The checkpoint as a mark of the journal."""

from dives import plan, policy
from relay.core.channel import Standing
from relay.core.geodesy import Anchor
from relay.core.pipeline import Checkpoint
from relay.shell.checkpoint import read_checkpoint, write_checkpoint

TWO = plan(policy("public"), policy("slow"))


def test_checkpoint_comes_back_as_it_was_written() -> None:
    """Row and standings survive, to the last bit of an anchor."""
    for anchor in (None, Anchor(-38.61472000000001, 179.99999999999997, 12)):
        checkpoint = Checkpoint(4_711, (Standing(3, 8, anchor, 12_000_000), Standing(1, -1, None)))
        assert read_checkpoint(write_checkpoint(checkpoint, TWO), TWO) == checkpoint


def test_checkpoint_keeps_each_audiences_standing_by_name() -> None:
    """When audiences are added or change places in the file, each goes on with its own."""
    public, slow = Standing(3, 7, Anchor(1.5, 2.5, 6)), Standing(5, 2, None)
    text = write_checkpoint(Checkpoint(9, (public, slow)), TWO)
    other = plan(policy("new"), policy("slow"), policy("public"))
    assert read_checkpoint(text, other) == Checkpoint(9, (Standing(), slow, public))
    assert read_checkpoint(None, TWO) is None
