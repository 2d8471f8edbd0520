"""The checkpoint as a mark of the journal: JSON, with each audience's standing by name."""

import json
from dataclasses import asdict
from typing import Annotated, Any

import msgspec

from relay.core.errors import OperatorError
from relay.core.geodesy import Anchor
from relay.core.hiding import InForce
from relay.core.merkle import Frontier
from relay.core.policy import Plan
from relay.core.programme import Programme, Told
from relay.core.record_log import LogStart
from relay.core.restart import Checkpoint, Standing

LARGEST = (1 << 63) - 1  # what SQLite counts up to
Count = Annotated[int, msgspec.Meta(ge=0, le=LARGEST)]
Moment = Annotated[int, msgspec.Meta(ge=-LARGEST, le=LARGEST)]  # microseconds; below 0 before its delay is over
Latitude = Annotated[float, msgspec.Meta(ge=-90, le=90)]
Longitude = Annotated[float, msgspec.Meta(ge=-180, le=180)]


class _Zones(msgspec.Struct):
    rows: frozenset[Count]
    upto: Count


class _Standing(msgspec.Struct):
    """What is kept of an audience; marks of before there were zones of the desk, or programmes, lack these."""

    next_dive: Annotated[int, msgspec.Meta(ge=1, le=LARGEST)]
    had_us: Moment
    anchor: tuple[Latitude, Longitude, Moment] | None
    instant_us: Moment
    zones: _Zones | None = None
    told: Told | None = None


class _Mark(msgspec.Struct):
    row: Count
    audiences: dict[str, _Standing]
    desk: tuple[Count, ...] = ()
    programme: tuple[Moment, Programme] | None = None
    record: list[Any] | None = None


_mark = msgspec.json.Decoder(_Mark).decode


def write_checkpoint(checkpoint: Checkpoint, plan: Plan) -> str:
    """Return the checkpoint as text."""
    pairs = zip(plan.policies, checkpoint.standings, strict=True)
    audiences = {policy.audience: _written(standing) for policy, standing in pairs}
    at_us, programme = checkpoint.programme or (0, None)
    decided = None if programme is None else [at_us, asdict(programme)]
    kept = {"desk": checkpoint.desk, "programme": decided, "record": _log_written(checkpoint.record)}
    return json.dumps({"row": checkpoint.row, "audiences": audiences, **kept})


def read_checkpoint(text: str | None, plan: Plan) -> Checkpoint | None:
    """Return the checkpoint in a mark; an audience that is new since then begins with dive 1, and all zones.

    OperatorError where the mark is none that the relay wrote: a restart that guessed could release a dive twice.
    """
    if text is None:
        return None
    try:
        mark = _mark(text)
        record = _log_read(mark.record)
    except (msgspec.MsgspecError, UnicodeError, ValueError, RecursionError) as error:
        raise OperatorError(
            f"the journal's checkpoint is damaged ({error}): where each audience stood isn't known, so nothing was "
            "started or changed. See what `offing journal verify` finds, and go on from the newest backup"
        ) from error
    standings = tuple(_standing(mark.audiences.get(policy.audience)) for policy in plan.policies)
    return Checkpoint(mark.row, standings, mark.desk, mark.programme, record)


def _log_written(start: LogStart | None) -> list[Any] | None:
    if start is None:
        return None
    return [start.minute, start.row, start.leaves, start.silent, [peak.hex() for peak in start.peaks]]


def _log_read(value: list[Any] | None) -> LogStart | None:
    """Return where the exact record's log goes on, None where that wasn't kept yet, or without its leaves."""
    if value is None or len(value) != 5:
        return None
    minute, row, leaves, silent, peaks = msgspec.convert(value, tuple[Moment, Count, Count, Count, tuple[str, ...]])
    frontier = Frontier(leaves, tuple(map(bytes.fromhex, peaks)))
    return LogStart(minute, row, leaves, silent, frontier.peaks)


def _written(standing: Standing) -> dict[str, Any]:
    anchor = standing.anchor
    place = None if anchor is None else [anchor.latitude_deg, anchor.longitude_deg, anchor.confirmed_us]
    return {
        "next_dive": standing.next_dive,
        "had_us": standing.had_us,
        "anchor": place,
        "instant_us": standing.instant_us,
        "zones": None if standing.zones is None else {"rows": sorted(standing.zones.rows), "upto": standing.zones.upto},
        "told": None if standing.told is None else asdict(standing.told),
    }


def _standing(kept: _Standing | None) -> Standing:
    if kept is None:
        return Standing()
    anchor = None if kept.anchor is None else Anchor(*kept.anchor)
    zones = None if kept.zones is None else InForce(kept.zones.rows, kept.zones.upto)
    return Standing(kept.next_dive, kept.had_us, anchor, kept.instant_us, zones, kept.told)
