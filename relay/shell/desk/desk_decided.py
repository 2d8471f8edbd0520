"""What was decided, for the desk: says that wait, targets, finds, zones, decisions in words, cuts, what was said.

Rules: exact and private. Moments are those of the embargo clock, and how long ago that was. Bounded, for it goes to
every desk twice a second: the newest of each; `in_all` says how many there are.
"""

from typing import Any, assert_never

from relay.core.decision import (
    Approve,
    Back,
    Begin,
    Cut,
    Decision,
    Dismiss,
    Early,
    End,
    Expect,
    HideZone,
    Hold,
    Invite,
    LiftZone,
    Resume,
    Say,
    SetLeg,
    Target,
    Unaudited,
    Uninvite,
    word_for,
)
from relay.core.desk_record import Known, Taken, Waiting
from relay.core.find import Find
from relay.core.hiding import ZoneInForce
from relay.core.pipeline import Pipeline
from relay.core.programme import Programme
from relay.shell.desk.desk_finds import find_parts
from relay.shell.desk.desk_seen import Seen
from relay.shell.desk.desk_watch import Watch
from relay.shell.plan.quantities import say_duration

DECISIONS, TARGETS, KEPT_BACK = 60, 200, 40


def seconds(microseconds: int) -> float:
    """Return seconds, to the millisecond."""
    return round(microseconds / 1e6, 3)


def decided_parts(pipeline: Pipeline, watch: Watch, now_us: int) -> dict[str, Any]:
    """Return the parts of the state that tell of decisions."""
    return {
        "waiting": [_waiting(waits, now_us) for waits in pipeline.waiting.values()],
        "targets": [_target(name, known, watch) for name, known in _newest(pipeline.targets)],
        "finds": find_parts(pipeline.finds, now_us),
        "zones": [_zone(zone, watch) for zone in pipeline.zones],
        "kept_back": _kept_back(pipeline, now_us),
        "in_all": {"targets": len(pipeline.targets), "finds": len(pipeline.finds), "kept_back": len(pipeline.blocked)},
        "decisions": [_taken(taken, now_us) for taken in list(pipeline.taken)[: -DECISIONS - 1 : -1]],
        "cuts": [_cut(taken, taken.decision) for taken in pipeline.taken if isinstance(taken.decision, Cut)],
    }


def _newest(targets: dict[str, Known]) -> list[tuple[str, Known]]:
    """Return the targets that were told last, in the order in which they were first."""
    rows = sorted(known.row for known in targets.values())[-TARGETS:]
    return [(name, known) for name, known in targets.items() if rows and known.row >= rows[0]]


def _waiting(waits: Waiting, now_us: int) -> dict[str, Any]:
    return {
        "say": waits.row,
        "at_us": waits.at_us,
        "ago_s": seconds(now_us - waits.at_us),
        "who": waits.who,
        "text": waits.text,
        "vehicle": waits.vehicle,
        "audiences": list(waits.audiences),
    }


def _target(name: str, known: Known, watch: Watch) -> dict[str, Any]:
    place = known.position
    east_m, north_m = watch.metres(None if place is None else (place.latitude_deg, place.longitude_deg))
    return {
        "name": name,
        "verdict": known.verdict,
        "at_us": known.at_us,
        "vehicle": known.vehicle,
        "latitude_deg": None if place is None else place.latitude_deg,
        "longitude_deg": None if place is None else place.longitude_deg,
        "east_m": east_m,
        "north_m": north_m,
        "radius_95_m": None if place is None else round(place.spread.radius_95_m, 2),
    }


def _zone(zone: ZoneInForce, watch: Watch) -> dict[str, Any]:
    told = zone.zone
    centre = (told.latitude_deg, told.longitude_deg)
    east_m, north_m = watch.metres(centre)
    return {
        "name": told.name,
        "centre": list(centre),
        "radius_m": told.radius_m,
        "margin_m": told.margin_m,
        "action": str(told.action),
        "of": zone.of,
        "audiences": list(zone.audiences),
        "east_m": east_m,
        "north_m": north_m,
    }


def _kept_back(pipeline: Pipeline, now_us: int) -> list[dict[str, Any]]:
    return [
        {
            "at_us": blocked.embargo_us,
            "ago_s": seconds(now_us - blocked.embargo_us),
            "text": blocked.text,
            "from": list(blocked.audiences),
            "why": [finding.why for finding in blocked.findings],
        }
        for blocked in list(pipeline.blocked)[: -KEPT_BACK - 1 : -1]
    ]


def _taken(taken: Taken, now_us: int) -> dict[str, Any]:
    return {
        "row": taken.row,
        "at_us": taken.at_us,
        "ago_s": seconds(now_us - taken.at_us),
        "who": taken.who,
        "do": word_for(taken.decision),
        "words": decision_words(taken.decision, taken.at_us),
    }


def _cut(taken: Taken, cut: Cut) -> dict[str, Any]:
    return {"from_us": cut.from_us, "to_us": min(cut.to_us, taken.at_us)}


def decision_words(decision: Decision, at_us: int) -> str:
    """Return a decision in a few words, told at a moment."""
    match decision:
        case Hold() | Resume() | Early():
            return f"{word_for(decision)}: {decision.audience or 'everybody'}"
        case Cut():
            begun, ended = (say_duration(max(0, at_us - moment)) for moment in (decision.from_us, decision.to_us))
            return f"cut: from {begun} to {ended} before"
        case SetLeg():
            return f"{decision.vehicle}: leg {'by itself again' if decision.leg is None else decision.leg}"
        case Say():
            return f"said{', to wait for approval' if decision.wait else ''}: {decision.text}"
        case Approve() | Dismiss():
            return f"{word_for(decision)}: what row {decision.say} says"
        case Target():
            return f"target {decision.name}: {decision.verdict}"
        case Find():
            later = "" if decision.supersedes is None else f" (supersedes row {decision.supersedes})"
            return f"find {decision.name}{later}: {decision.what}"
        case HideZone() | LiftZone():
            return f"{'hidden' if isinstance(decision, HideZone) else 'shown again'}: {decision.name}"
        case Expect():
            return f"{decision.vehicle}: expected back in {say_duration(round(decision.return_in_s * 1e6))}"
        case Back():
            return f"{decision.vehicle}: is back"
        case Programme():
            return (
                "programme put up" if decision.texts or decision.next_dive_in_s is not None else "programme taken away"
            )
        case Invite():
            until = "" if decision.until is None else f", until {decision.until}"
            return f"invited: {decision.invited} to {decision.audience}{until}"
        case Uninvite():
            return f"no longer invited: {decision.invited}"
        case Unaudited():
            return f"{decision.audience} goes without a passed audit: {decision.reason}"
        case Begin() | End():
            return "a dive begins" if isinstance(decision, Begin) else "the dive ends"
        case _:
            assert_never(decision)


def annotations(pipeline: Pipeline, seen: Seen) -> list[dict[str, Any]]:
    """Return annotations, when they were said or, of those of a station, sent, and which audiences had them."""
    out: dict[str, list[str]] = {}
    when: dict[str, int | None] = dict(_said(pipeline))
    for audience, shown in seen.shown.items():
        for note in shown.notes:
            when.setdefault(note.text, note.at_us)
            out.setdefault(note.text, []).append(audience)
    notes = [{"at_us": at_us, "text": text, "out": sorted(set(out.get(text, ())))} for text, at_us in when.items()]
    return sorted(notes, key=lambda note: (note["at_us"] is None, note["at_us"] or 0))


def _said(pipeline: Pipeline) -> list[tuple[str, int]]:
    """Return what the desk has said and when: what waits hasn't been, and what was approved was said then."""
    says = {taken.row: taken.decision for taken in pipeline.taken if isinstance(taken.decision, Say)}
    at_once = [(say.text, taken.at_us) for taken in pipeline.taken if (say := says.get(taken.row)) and not say.wait]
    approved = [(taken.decision.say, taken.at_us) for taken in pipeline.taken if isinstance(taken.decision, Approve)]
    return at_once + [(says[row].text, at_us) for row, at_us in approved if row in says]
