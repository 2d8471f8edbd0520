"""Three shore relays on a stream, real processes under load: each killed with -9 in turn, and its server too."""

from pathlib import Path

import pytest

from released import dive
from run_scale import FIRST, play
from scale_followers import Follower
from streams import sealed

FRAMES = [frame.data for frame in sealed([*dive(1, 3), *dive(2, 3)])]


@pytest.mark.slow
async def test_no_follower_loses_or_doubles_a_record_whatever_is_killed(tmp_path: Path) -> None:
    """Followers come back elsewhere, others come late: each holds every record once and in order, as it was signed."""
    told = await play(tmp_path, followers=9, per_s=40.0, load=6, tell=lambda words: None)
    assert told["records"] > FIRST
    assert (told["followers"], told["whole"]) == (9 + 5 * 3, 9 + 5 * 3)
    assert (told["lost"], told["doubled"], told["out of order"]) == (0, 0, 0)
    assert told["came again"] >= 9  # a third of those who follow, for each relay that was killed
    assert told["from history"] >= 3  # who comes late is owed more than a socket replays


@pytest.mark.parametrize(
    ("got", "faults"),
    [
        (FRAMES, 0),
        (FRAMES[:4] + FRAMES[5:], 1),  # one is lost
        (FRAMES[:4] + FRAMES[3:], 1),  # one comes twice
        ([FRAMES[0], FRAMES[2], FRAMES[1], *FRAMES[3:]], 3),  # two are swapped
        (FRAMES[5:], 1),  # the first dive is left out
        (FRAMES[:4] + FRAMES[5:7], 1),  # the end of a dive is lost
    ],
)
def test_follower_notices_what_is_lost_doubled_or_out_of_order(got: list[bytes], faults: int) -> None:
    """The check of these tests can fail: each kind of fault is told."""
    follower = Follower(["127.0.0.1:1"], 0)
    for data in got:
        follower._take(data, "live")
    assert len(follower.faults) == faults
