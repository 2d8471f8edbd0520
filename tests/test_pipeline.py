"""From rows to released bytes: nothing early, nothing placed, a pure function of the journal, restartable anywhere."""

import itertools
import math
import random
from collections.abc import Iterator
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dives import INVENTED_SITE, SECOND, SECRETS, dive_rows, message, owed, plan, policy, rows, run, sent, walk
from heads import sent_but_for_heads
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import DiveLimits, Plan, SourcePlan
from relay.core.secrets import Secrets
from remembering_evidence import draw_once, low_trees

TWO = plan(policy("public"), policy("slow", delay_us=70 * SECOND, tick_us=5 * SECOND))


def told(journal: list[Row]) -> list[tuple[int, str, bytes]]:
    """Return what leaves of a journal, but for the heads, which are over its very rows."""
    return sent_but_for_heads(run(Pipeline(TWO, SECRETS), journal))


@pytest.fixture(scope="module", autouse=True)
def _same_rows_draw_the_same() -> Iterator[None]:
    """The same rows come again and again: what the exact record draws for them is remembered."""
    with pytest.MonkeyPatch.context() as patch:
        draw_once(patch)
        low_trees(patch, 10)
        yield


def test_the_same_journal_gives_the_same_bytes_and_other_secrets_give_others() -> None:
    """The released bytes are a pure function of rows, plan and secrets."""
    journal = dive_rows(90)
    first, again = (sent(run(Pipeline(TWO, SECRETS), journal)) for _ in range(2))
    assert first == again
    assert first != sent(run(Pipeline(TWO, Secrets(bytes(32))), journal))


@settings(max_examples=60, deadline=None)
@given(
    st.integers(10, 150), st.integers(0, 10**6), st.sampled_from(["nothing", "another dive", "noise", "end", "burst"])
)
def test_nothing_early_whatever_comes_after(cut_s: int, seed: int, tail: str) -> None:
    """R2: two runs alike up to t - delay send the same bytes at the same moments up to t, whatever comes after it."""
    journal = dive_rows(150)
    cut_us = cut_s * SECOND
    head = [row for row in journal if row.embargo_us <= cut_us]
    one, other = head + journal[len(head) :], head + tail_of(tail, cut_us, len(head), seed)
    for audience in TWO.policies:
        horizon = cut_us + audience.delay_us
        runs = [sent(run(Pipeline(TWO, SECRETS), rows_, until_us=10**9)) for rows_ in (one, other)]
        seen = [[item for item in out if item[0] <= horizon and item[1] == audience.audience] for out in runs]
        assert seen[0] == seen[1]


def tail_of(kind: str, cut_us: int, seq: int, seed: int) -> list[Row]:
    """Return rows after the cut that are as unlike the real ones as can be."""
    chance = random.Random(seed)
    place = (chance.uniform(-80, 80), chance.uniform(-180, 180))
    steps = walk(60, seed)
    tails: dict[str, list[tuple[int, bytes]]] = {
        "nothing": [],
        "another dive": [
            (cut_us + 1 + at * SECOND, message(step, place, "Moth", "early?")) for at, step in enumerate(steps)
        ],
        "noise": [(cut_us + 1 + at * 1_000, chance.randbytes(200) + b"\n") for at in range(200)],
        "end": [(cut_us + 1, message(steps[0], INVENTED_SITE, note="recovered"))],
        "burst": [(cut_us + 1, message(step, INVENTED_SITE)) for step in steps],
    }
    return rows(tails[kind], seq + 1)


def test_nothing_placed_wherever_the_dive_is() -> None:
    """R3: the same dive anywhere on Earth (antimeridian, high latitudes) leaves every byte and moment as it was."""
    chance = random.Random(5)
    sites = [(math.degrees(math.asin(chance.uniform(-0.996, 0.996))), chance.uniform(-180, 180)) for _ in range(20)]
    sites += [(12.0, 180.0), (-12.0, -179.9999), (85.0, 10.0), (-85.0, -170.0), (0.0, 0.0)]
    reference = told(dive_rows(150))
    assert sum(frame.count(b"reporting") for _, _, frame in reference) > 100
    for site in sites:
        assert told(dive_rows(150, site)) == reference


def test_wall_clock_changes_nothing() -> None:
    """The ship's wall clock, years off or stepping, changes neither bytes nor moments."""
    journal = dive_rows(60)
    stepped = [replace(row, wall_s=row.wall_s + (1e9 if row.seq % 2 else -1e9)) for row in journal]
    assert told(stepped) == told(journal)


def test_when_a_dive_is_changes_nothing_but_the_moments() -> None:
    """The same dive a day later, by whole ticks, sends the same bytes a day later: nothing in them tells a date."""
    day_s = 86_400
    first, later = (told(dive_rows(60, start_s=start_s)) for start_s in (10, 10 + day_s))
    assert later == [(instant_us + day_s * SECOND, audience, frame) for instant_us, audience, frame in first]


@pytest.mark.parametrize("step_s", [977, 1, -1, -40])
def test_own_clock_of_the_vehicle_changes_nothing(step_s: int) -> None:
    """A `t` in the messages, whatever it says, decides nothing on a live feed: not even what is newer."""
    journal = dive_rows(60)
    clocks = (b'{"t": %d, ' % (100_000 + row.seq * step_s) for row in journal)
    lying = [replace(row, data=row.data.replace(b"{", clock, 1)) for row, clock in zip(journal, clocks, strict=True)]
    assert told(lying) == told(journal)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(1, 700), min_size=1, max_size=400))
def test_how_the_bytes_were_cut_into_rows_changes_nothing_within_a_moment(cuts: list[int]) -> None:
    """The same bytes at the same moments in other pieces give the same records."""
    journal = dive_rows(40)
    pieces: list[Row] = []
    lengths = itertools.cycle(cuts)
    for row in journal:
        rest = row.data
        while rest:
            piece, rest = rest[: (length := next(lengths))], rest[length:]
            pieces.append(replace(row, seq=len(pieces) + 1, data=piece))
    assert told(pieces) == told(journal)


BY_DEPTH = plan(
    policy("public"), policy("slow", delay_us=45 * SECOND),
    dive=DiveLimits(begin_depth_m=5.0, quiet_us=30 * SECOND, surfaced_us=10 * SECOND),
)  # fmt: skip


FAR_APART = plan(
    policy("quick", delay_us=0, extra_us=0), policy("slow", delay_us=900 * SECOND),
    dive=DiveLimits(begin_depth_m=5.0, quiet_us=30 * SECOND, surfaced_us=10 * SECOND),
)  # fmt: skip


@pytest.mark.parametrize(
    ("expedition", "dives"),
    [(TWO, 5), (BY_DEPTH, 3), (FAR_APART, 3)],
    ids=["by report", "by depth", "one audience a dive behind the other"],
)
def test_restart_at_any_row_grows_the_same_release_log(expedition: Plan, dives: int) -> None:
    """From any moment's checkpoint the rest of the journal gives the rest of the records, torn frames and all."""
    journal = torn(with_three_dives())
    due = run(Pipeline(expedition, SECRETS), journal)
    reference = sent(due)
    assert {item.record.dive for item in due} == set(range(1, dives + 1))
    running, checkpoints = Pipeline(expedition, SECRETS), []
    for row in journal:
        running.receive(row)
        checkpoint = running.checkpoint()
        if checkpoint is not None and (not checkpoints or checkpoint != checkpoints[-1]):
            checkpoints.append(checkpoint)
    assert len(checkpoints) >= dives
    for checkpoint in checkpoints:
        again = Pipeline(expedition, SECRETS, checkpoint)
        grown = sent(run(again, owed(again, journal)))
        assert grown
        assert grown == reference[-len(grown) :]


def test_input_on_its_way_holds_back_only_those_who_might_get_it_now() -> None:
    """While a row is on its way here, an audience without a delay waits for it; one with a delay gets what is due."""
    expedition = plan(policy("exact", delay_us=0, extra_us=0), policy("public", delay_us=40 * SECOND, extra_us=0))
    pipeline = Pipeline(expedition, SECRETS)
    for row in dive_rows(50):
        pipeline.receive(row)
    assert {item.record.audience for item in pipeline.advance(56 * SECOND, unread_us=55 * SECOND)} == {"public"}
    assert {item.record.audience for item in pipeline.advance(56 * SECOND)} == {"exact"}


def test_restart_reads_a_frame_that_was_torn_around_a_row_of_another_feed() -> None:
    """A frame that began before the oldest thing held back, and ended after it, is whole again after a restart."""
    two = (SourcePlan(name="station", format="station-json"), SourcePlan(name="other", format="station-json"))
    expedition = replace(plan(), sources=two)
    one, another = dive_rows(2)
    torn_at = len(one.data) // 2
    journal = [
        replace(one, data=one.data[:torn_at]), replace(another, source="other"), replace(one, data=one.data[torn_at:]),
    ]  # fmt: skip
    journal = [replace(row, seq=at, embargo_us=at * SECOND) for at, row in enumerate(journal, 1)]
    running = Pipeline(expedition, SECRETS)
    for row in journal:
        running.receive(row)
    checkpoint = running.checkpoint()
    assert checkpoint is not None
    again = Pipeline(expedition, SECRETS, checkpoint)
    assert sent(run(again, owed(again, journal))) == sent(run(running, []))


def test_restarts_of_restarts_give_nothing_twice() -> None:
    """Restarted over and over from its newest checkpoint, with an audience dives ahead, all leaves once."""
    expedition = plan(policy("quick"), policy("slow", delay_us=700 * SECOND), dive=DiveLimits(quiet_us=30 * SECOND))
    journal = with_three_dives()
    reference = sent(run(Pipeline(expedition, SECRETS), journal))
    running, out = Pipeline(expedition, SECRETS), []
    for row in journal:
        out += sent(running.receive(row))
        checkpoint = running.checkpoint()
        if checkpoint is not None:
            running = Pipeline(expedition, SECRETS, checkpoint)
            again = [past for past in owed(running, journal) if past.seq <= row.seq]
            assert [due for past in again for due in running.receive(past)] == []
    assert len({(audience, frame[1]) for _, audience, frame in reference}) == 10
    assert out + sent(run(running, [])) == reference


def with_three_dives() -> list[Row]:
    """Return a journal of three dives with quiet, deck reports and noise between them."""
    deck = {"east": 40.0, "north": -70.0, "depth": 0.2, "altitude": 1_000.0, "heading": 90.0}
    pieces: list[Row] = []
    for dive in range(3):
        start = 5 + dive * 400
        pieces += dive_rows(60, seed=dive, start_s=start)
        if dive < 2:
            pieces += rows(((start + 250 + at) * SECOND, message(deck, INVENTED_SITE)) for at in range(20))
    return [replace(row, seq=at) for at, row in enumerate(pieces, 1)]


def torn(journal: list[Row]) -> list[Row]:
    """Return the same bytes with every row's last third moved to the front of the next row."""
    out, carried = [], b""
    for row in journal:
        cut = len(row.data) * 2 // 3
        out.append(replace(row, data=carried + row.data[:cut]))
        carried = row.data[cut:]
    last = journal[-1]
    return [*out, replace(last, seq=last.seq + 1, data=carried)]


def test_tallies_count_every_frame_once() -> None:
    """Accepted, passed over and rejected add up to the lines sent; unknown vehicles are rejected with a reason."""
    lines = [
        message(walk(1)[0], INVENTED_SITE),
        b"{}\n",
        b"not json\n",
        b'{"vehicle": "Nobody", "depth_m": 1}\n',
        b'{"depth_m": 1}\n',
    ]
    pipeline = Pipeline(plan(), SECRETS)
    for row in rows((at * SECOND, line) for at, line in enumerate(lines)):
        pipeline.receive(row)
    tally = pipeline.tallies["station"]
    assert tally.accepted.total() == 1
    assert tally.passed_over.total() == 1
    assert tally.rejected["vehicle not in the expedition file"] == 1
    assert tally.rejected["no vehicle named"] == 1
    assert tally.rejected.total() == 3
    assert tally.bytes == sum(map(len, lines))


def test_rows_of_unknown_feeds_and_decisions_are_kept_out_of_the_decoders() -> None:
    """A feed that is no longer in the file, or a decision's text, is never read as input."""
    pipeline = Pipeline(plan(), SECRETS)
    row = dive_rows(1)[0]
    pipeline.receive(replace(row, source="gone"))
    pipeline.receive(replace(row, seq=2, kind=RowKind.DECISION))
    assert pipeline.now.heard_us() is None
