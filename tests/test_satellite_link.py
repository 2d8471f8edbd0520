"""The link over a poor satellite: 600 ms there and back, 2 % loss, 256 kbit/s, in network namespaces.

The short version of `make bench ARGS="--only link"`, which carries eight hours and outages of minutes. The dive's clock
runs ten times as fast, and with it the signs of life: a tick is still longer than the way there and back, so that it
costs what it costs at its own pace. Outages last as long as they last.
"""

from pathlib import Path

import pytest

from far_dive import recording, seen, set_congestion_control, voyage
from relay.core.wire import objects
from satellite import satellite, unable

PACE, MOST_BITS_PER_S, CURRENT_WITHIN_S = 10.0, 1_500, 30.0


@pytest.mark.slow
async def test_poor_link_carries_every_record_once_in_order_and_costs_little(tmp_path: Path) -> None:
    """A follower ashore has what was released, outages or not; all that the link carries, from IP up, is little."""
    if (why := unable()) is not None:
        pytest.skip(why)
    dive = recording(1_200)
    async with satellite() as link:
        set_congestion_control(link)
        async with voyage(link, tmp_path, dive, PACE, 10 / PACE) as here:
            await here.until(lambda: here.up and here.seen > 0, 60)
            before = await link.count()
            measured_s = await here.until(lambda first=here.seen: here.seen >= first + 4, 40)  # type: ignore[misc]
            bits_per_s = (await link.count() - before) * 8 / (measured_s * PACE)
            for outage_s in (1.0, 2.0):
                link.say("down")
                await here.passed(outage_s)
                link.say("up")
                await here.until(lambda: here.is_current, CURRENT_WITHIN_S)
            released, had = int(here.told["released"]), seen(tmp_path)
    assert 50 < bits_per_s < MOST_BITS_PER_S
    assert dive.startswith(had)
    assert len(list(objects(had))) >= released > 6
