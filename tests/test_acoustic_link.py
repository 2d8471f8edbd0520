"""A vehicle on its own: reports over an acoustic link, late and out of order, through the whole pipeline.

The vehicle is a published glider track (`glider-inlet`, C-PROOF, University of Victoria), the link is simulated.
"""

import json
import random
from itertools import pairwise
from pathlib import Path

import pytest

from acoustic_link import LATEST_S, Message, over_acoustic_link
from dives import SECOND, SECRETS, policy, run, sent
from dives import plan as plan_of
from heads import but_for_heads
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import DiveLimits
from tracks_to_station_lines import read_rows, station_messages

PLAN = plan_of(
    policy("public", stale_us=180 * SECOND),
    policy("slow", delay_us=600 * SECOND, tick_us=15 * SECOND, stale_us=180 * SECOND),
    dive=DiveLimits(quiet_us=1_200 * SECOND),
)


@pytest.fixture
def arrived(shared_data: Path) -> list[tuple[float, Message]]:
    """Return what arrives of the first four hours of the glider's reports."""
    log = list(station_messages(read_rows(shared_data / "glider-inlet" / "track.csv.gz"), "Moth"))
    return over_acoustic_link([message for message in log if message["t"] < log[0]["t"] + 4 * 3_600])


def rows_of(arrived: list[tuple[float, Message]]) -> list[Row]:
    """Return journal rows of what arrived."""
    lines = [(round(at_s * SECOND), json.dumps(message).encode() + b"\n") for at_s, message in arrived]
    return [Row(at, us, 1e9, "station", RowKind.WHOLE, line) for at, (us, line) in enumerate(lines, 1)]


def without_clocks(arrived: list[tuple[float, Message]]) -> list[tuple[float, Message]]:
    """Return the same without the vehicle's own times."""
    return [(at_s, {name: value for name, value in told.items() if name != "t"}) for at_s, told in arrived]


def test_link_is_late_and_out_of_order(arrived: list[tuple[float, Message]]) -> None:
    """The trial is one: many reports overtake others, none comes before it was made or too late."""
    begun_s = min(told["t"] - at_s for at_s, told in arrived) + LATEST_S
    swapped = sum(later["t"] < earlier["t"] for (_, earlier), (_, later) in pairwise(arrived))
    assert len(arrived) > 200
    assert swapped > 50
    assert all(at_s >= told["t"] - begun_s for at_s, told in arrived)


def test_exact_state_is_the_newest_that_has_arrived(arrived: list[tuple[float, Message]]) -> None:
    """After each report every field is that of the newest report by the vehicle's time that told it and has come."""
    pipeline = Pipeline(PLAN, SECRETS)
    state = pipeline.now.states[1]
    newest: dict[str, tuple[float, object]] = {}
    overtaken = 0
    for row, (_, told) in zip(rows_of(arrived), arrived, strict=True):
        pipeline.receive(row)
        fields = {name: told[name] for name in ("depth_m", "altitude_m", "heading_deg", "pitch_deg") if name in told}
        if "latitude_deg" in told:
            fields["position"] = (told["latitude_deg"], told["longitude_deg"])
        for name, value in fields.items():
            overtaken += newest.get(name, (0.0, None))[0] > told["t"]
            newest[name] = max(newest.get(name, (0.0, None)), (told["t"], value), key=lambda pair: pair[0])
        assert {name: state.last(name) for name in newest} == {name: value for name, (_, value) in newest.items()}
    assert overtaken > 50


def test_what_is_released_goes_by_receipt_and_no_vehicle_clock(arrived: list[tuple[float, Message]]) -> None:
    """Released bytes and moments are the same with the vehicle's times, without, and with times that are nonsense."""
    chance = random.Random(3)
    lying = [(at_s, {**told, "t": chance.uniform(0, 4e9)}) for at_s, told in arrived]
    reference = but_for_heads(sent(run(Pipeline(PLAN, SECRETS), rows_of(arrived))))
    assert len(reference) > 1_000
    for other in (arrived, without_clocks(arrived), lying):
        assert but_for_heads(sent(run(Pipeline(PLAN, SECRETS), rows_of(other)))) == reference


def test_nothing_of_an_acoustic_link_is_early(arrived: list[tuple[float, Message]]) -> None:
    """R2: whatever else arrives after a moment, nothing is sent otherwise until the audience's delay has passed."""
    rows = rows_of(arrived)
    reference = sent(run(Pipeline(PLAN, SECRETS), rows))
    for cut in (len(rows) // 3, len(rows) // 2):
        cut_us = rows[cut].embargo_us
        tail = rows_of([(at_s, {**told, "depth_m": 7.0}) for at_s, told in arrived])[cut + 1 :]
        other = sent(run(Pipeline(PLAN, SECRETS), [*rows[: cut + 1], *tail]))
        assert other != reference
        for audience in PLAN.policies:
            upto_us = cut_us + audience.delay_us
            seen = [
                [item for item in out if item[0] <= upto_us and item[1] == audience.audience]
                for out in (reference, other)
            ]
            assert seen[0] == seen[1]
