"""Frames as the ship releases them, for tests of what comes after the door."""

from collections.abc import Iterable, Iterator, Sequence

from dives import SIGNER, sealed
from relay.core.disclosure import Report
from relay.core.policy import Disclosed, Place, Plan, Policy
from relay.core.release import Kind, ProgrammeLog, ReleasedRecord, ReleaseLog
from relay.core.still import Still
from relay.core.wire import WireRecord
from relay.shell.released.outlet import Frame

TICK_US = 15_000_000
EXPEDITION = "The search for the Isoline Marr"


def endless_dive(number: int = 1, audience: str = "public", note: str | None = None) -> Iterator[Frame]:
    """Yield the frames of a dive that never ends: its header, then a tick each, or a note each where one is given."""
    log = _log(number, audience)
    yield _frame(log.open(0))
    at_us = 0
    while True:
        if note is None:
            yield _frame(log.tick(at_us, [Report(heard=True, east_m=25, north_m=-50, depth_m=1120, leg="bottom")]))
        else:
            yield _frame(log.note(at_us, None, note))
        at_us += TICK_US


def dive(number: int, ticks: int, *, audience: str = "public", closed: bool = True) -> list[Frame]:
    """Return the frames of a dive: header, `ticks` ticks, and its end if it is closed."""
    log = _log(number, audience)
    reports = [[Report(heard=True, east_m=25 * tick, depth_m=10 * tick)] for tick in range(ticks)]
    records = [log.open(0), *(log.tick(tick * TICK_US, report) for tick, report in enumerate(reports))]
    return [_frame(record) for record in [*records, *([log.end(ticks * TICK_US)] if closed else [])]]


def dive_with_heads(number: int, heads: Sequence[bytes], audience: str = "public") -> list[Frame]:
    """Return the frames of a closed dive in which a head follows every fourth tick: a minute of ticks of 15 s."""
    log = _log(number, audience)
    records = [log.open(0)]
    for minute, head in enumerate(heads):
        ticks = [(4 * minute + tick) * TICK_US for tick in range(4)]
        records.append(log.tick(ticks[0], [Report(heard=True, depth_m=10)]))
        records.append(log.head(ticks[0], head))
        records += [log.tick(at_us, [Report(heard=True, depth_m=10)]) for at_us in ticks[1:]]
    return [_frame(record) for record in [*records, log.end(4 * len(heads) * TICK_US)]]


def dive_with_everything(number: int) -> list[Frame]:
    """Return the frames of a dive with exact places and targets, as only a trusted audience is given them."""
    log = _log(number, "public", Place.EXACT)
    records = [
        log.open(0),
        log.tick(0, [Report(heard=True, depth_m=10, position=(-38.61472, -21.93306))]),
        log.head(0, bytes(range(32))),
        log.target(0, 0, "Boiler", "unchecked"),
        log.tick(TICK_US, [Report(heard=False)]),
        log.target(TICK_US, None, "Boiler", "of interest"),
        log.head(TICK_US, bytes(range(32, 64))),
        log.end(2 * TICK_US),
    ]
    return [_frame(record) for record in records]


def dive_with_stills(number: int, pictures: Sequence[bytes]) -> list[Frame]:
    """Return the frames of a closed dive in one tick of which all these JPEGs are shown."""
    log = _log(number, "public")
    records = [log.open(0), log.tick(0, [Report(heard=True, depth_m=10)])]
    records += [log.still(0, 0, f"still {at}", Still(jpeg, "0f" * 32)) for at, jpeg in enumerate(pictures)]
    return [_frame(record) for record in [*records, log.note(0, None, "and on"), log.end(TICK_US)]]


def dive_with_a_still(number: int, text: str, still: Still, *, at: int = 3, ticks: int = 6) -> list[Frame]:
    """Return the frames of a closed dive at whose tick `at` a still is shown, between notes of words alone."""
    log = _log(number, "public")
    records = [log.open(0)]
    for tick in range(ticks):
        records.append(log.tick(tick * TICK_US, [Report(heard=True, depth_m=10 * tick, leg="descent")]))
        if tick in (1, ticks - 1):
            records.append(log.note(tick * TICK_US, None, f"words alone at {tick}"))
        if tick == at:
            records.append(log.still(tick * TICK_US, 0, text, still))
    return [_frame(record) for record in [*records, log.end(ticks * TICK_US)]]


def programme(
    number: int, pinned: str | None, *schedule: str, left_s: int | None = None, dive: int = 2, audience: str = "public"
) -> Frame:
    """Return the frame of a programme for dive number `dive`."""
    return _frame(ProgrammeLog(audience).programme(number, pinned, schedule, left_s, dive))


def without_heads(records: Iterable[WireRecord]) -> list[WireRecord]:
    """Return a dive's records as a reader sees them, without the tree heads among them."""
    return [record for record in records if record.kind != Kind.HEAD]


def with_heads(records: Iterable[WireRecord]) -> list[WireRecord]:
    """Return a dive's records as a reader sees them, with a tree head behind each tick, and no others."""
    out = []
    for record in without_heads(records):
        out.append(record)
        if record.kind == Kind.TICK:
            out.append(record._replace(kind=int(Kind.HEAD), body=[bytes(range(32))]))
    return out


def _log(number: int, audience: str, place: Place = Place.LOCAL) -> ReleaseLog:
    policy = Policy(
        audience=audience,
        delay_us=2_700_000_000,
        extra_us=600_000_000,
        tick_us=TICK_US,
        fields=frozenset(Disclosed),
        cell_m=25.0,
        depth_step_m=10.0,
        place=place,
    )
    plan = Plan(expedition=EXPEDITION, vehicles=("Lantern",), sources=(), policies=(policy,))
    return ReleaseLog(policy, plan, number, 0, SIGNER.key)


def _frame(record: ReleasedRecord) -> Frame:
    ends = record.kind is Kind.END
    return Frame(record.audience, record.dive, record.seq, ends, record.elapsed_us, sealed(record))
