"""What a restart has to know, as values."""

from relay.core.record_log import LogStart
from relay.core.restart import Checkpoint, Standing


def test_audience_that_is_new_has_had_nothing() -> None:
    """It begins with dive 1, has no frame of its own yet, was told nothing, and no zone is lifted for it."""
    assert Standing() == Standing(1, -1, None, 0, None, None)


def test_checkpoint_without_a_log_is_not_one_with_an_empty_log() -> None:
    """Where nobody wrote one down, all rows are owed; where one is empty, it goes on from the first row alike."""
    assert Checkpoint(9, ()).record is None
    assert LogStart() == LogStart(0, 1, 0, 0, ())
