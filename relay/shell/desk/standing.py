"""How a site stands, and whether a decision makes sense there: for the operator alone."""

from dataclasses import replace
from typing import Any

from relay.core.decision import (
    Approve,
    Back,
    Begin,
    Cut,
    Decision,
    Dismiss,
    Early,
    End,
    HideZone,
    LiftZone,
    Resume,
    Say,
    SetLeg,
    Target,
    Unaudited,
    word_for,
)
from relay.core.desk_record import Known
from relay.core.errors import OperatorError
from relay.core.find import Find
from relay.core.pipeline import Pipeline
from relay.core.place_finding import Finding
from relay.core.policy import Disclosed
from relay.core.programme import Programme, coarse_s
from relay.core.still import STILLS_A_DIVE
from relay.shell.desk.desk_finds import find_parts
from relay.shell.desk.desk_sense import (
    check_back,
    check_find,
    check_lift,
    check_resume,
    check_target,
    check_wait,
    check_zone,
    waiting_say,
)
from relay.shell.plan.quantities import say_duration


def release_alarms(pipeline: Pipeline, at_us: int) -> list[str]:
    """Return what is wrong with the release by the pipeline alone, in words without a position."""
    out = [f"{name} is outside the declared area" for name in pipeline.outside()]
    for doubt in pipeline.doubts(at_us):
        name, apart = pipeline.plan.vehicles[doubt.vehicle], f"{doubt.apart_m:.0f} m"
        out.append(f"two stations contradict each other about {name} by {apart}: its place isn't released")
    for channel in pipeline.channels:
        if channel.outside is not None:
            audience = channel.policy.audience
            out.append(f"the release to {audience} has stopped: {channel.outside} was outside the declared area")
    if refused := pipeline.embargo.refused:
        out.append(f"the embargo is full: {refused} reports are in the journal but won't be released")
    return out


def ship_status(pipeline: Pipeline, now_us: int, stopped: str | None, alarms: list[str]) -> dict[str, Any]:
    """Return the standing of a site as plain values: clock, feeds, audiences, alarms."""
    return {
        "now_us": now_us,
        "dive_under_way": pipeline.present.under_way(now_us),
        "stopped": stopped,
        "alarms": alarms,
        "feeds": {
            name: {
                "accepted": tally.accepted.total(),
                "passed_over": tally.passed_over.total(),
                "rejected": dict(tally.rejected.most_common(12)),
                "bytes": tally.bytes,
            }
            for name, tally in pipeline.tallies.items()
        },
        "audiences": {
            channel.policy.audience: {
                "state": _state(channel.held, channel.outside, channel.under_way),
                "edge_us": channel.edge_us,
                "next_dive": channel.next_dive,
            }
            for channel in pipeline.channels
        },
        "kept_back": [
            {
                "at_us": blocked.embargo_us,
                "text": blocked.text,
                "from": list(blocked.audiences),
                "why": [finding.why for finding in blocked.findings],
            }
            for blocked in pipeline.blocked
        ],
        **_desk(pipeline),
        "finds": find_parts(pipeline.finds, now_us),
    }


def _desk(pipeline: Pipeline) -> dict[str, Any]:
    """Return what the desk alone knows: what waits, targets, zones, what is expected."""
    return {
        "waiting": [
            {"say": row, "at_us": held.at_us, "who": held.who, "text": held.text, "audiences": list(held.audiences)}
            for row, held in pipeline.waiting.items()
        ],
        "targets": [
            {"name": name, "verdict": known.verdict, "at_us": known.at_us, "vehicle": known.vehicle, **_place(known)}
            for name, known in pipeline.targets.items()
        ],
        "zones": [
            {"name": zone.zone.name, "of": zone.of, "hidden_from": list(zone.audiences)} for zone in pipeline.zones
        ],
        "expected": [
            {"vehicle": name, "return_us": agreed.expectation.return_us, "back_us": agreed.back_us}
            for name, agreed in pipeline.expected.items()
        ],
    }


def _place(known: Known) -> dict[str, float | None]:
    place = known.position
    return {
        "latitude_deg": None if place is None else place.latitude_deg,
        "longitude_deg": None if place is None else place.longitude_deg,
        "radius_95_m": None if place is None else place.spread.radius_95_m,
    }


def _state(held: bool, outside: str | None, under_way: bool) -> str:
    if held:
        return "held"
    if outside is not None:
        return f"stopped: {outside} was outside the declared area"
    return "releasing" if under_way else "between dives"


def check_decision(
    decision: Decision, pipeline: Pipeline, now_us: int, under_way: bool | None = None
) -> dict[str, Any]:
    """Return what a decision will do, in words; OperatorError if it makes no sense here.

    `under_way`: whether a dive is, by what was decided but the pipeline hasn't taken yet.
    """
    if isinstance(decision, Approve):
        say = replace(waiting_say(decision.say, pipeline).say, wait=False)
        return check_decision(say, pipeline, now_us, under_way) | {"taken": "approve"}
    check_names(decision, pipeline)
    _check_dive(decision, pipeline.present.under_way(now_us) if under_way is None else under_way)
    if isinstance(decision, Say | Target):
        _check_words(decision, pipeline)
    return {"taken": word_for(decision), **_does(decision, pipeline, now_us)}


def _does(decision: Decision, pipeline: Pipeline, now_us: int) -> dict[str, Any]:
    """Return what a decision does beside what its word says; OperatorError if it can't."""
    match decision:
        case Early():
            return _early(decision, pipeline, now_us)
        case Resume():
            return check_resume(decision, pipeline)
        case Cut():
            if decision.to_us > now_us:
                raise OperatorError(
                    "a cut ends at the latest now: what is to come can be held, and cut when it is there"
                )
            return {"already_out": _already_out(decision, pipeline)}
        case Say():
            if decision.wait:
                check_wait(decision, pipeline)
            return {} if decision.still is None else {"still_for": _shown_to(decision, pipeline)}
        case Dismiss():
            waiting_say(decision.say, pipeline)
        case Target():
            return check_target(decision, pipeline)
        case Find():
            return check_find(decision, pipeline)
        case HideZone():
            return check_zone(decision, pipeline)
        case LiftZone():
            return check_lift(decision, pipeline)
        case Back():
            check_back(decision, pipeline)
        case Programme():
            return {"told_as": _told_as(decision, pipeline)}
    return {}


def _early(decision: Early, pipeline: Pipeline, now_us: int) -> dict[str, Any]:
    if decision.upto_us > now_us:
        raise OperatorError("what has not been received yet can't be released early")
    channel = next(channel for channel in pipeline.channels if channel.policy.audience == decision.audience)
    return {"held": channel.held, "already_out": channel.edge_us >= decision.upto_us}


def _check_dive(decision: Decision, under_way: bool) -> None:
    """Refuse what would be lost because no dive is under way, and to begin one that is."""
    if isinstance(decision, Begin):
        if under_way:
            raise OperatorError("a dive is under way already")
    elif isinstance(decision, Say) and decision.wait:
        return  # it can be written beforehand: approving it needs a dive
    elif isinstance(decision, End | Say | Target | SetLeg) and not under_way:
        raise OperatorError("no dive is under way now, and this belongs to one: say it when it has begun, or begin it")


def check_names(decision: Decision, pipeline: Pipeline) -> None:
    """Refuse names that the expedition file doesn't know; a promise can be missed of an audience that is gone."""
    if isinstance(decision, Unaudited):
        return
    audiences = [channel.policy.audience for channel in pipeline.channels]
    named = [getattr(decision, "audience", None), *getattr(decision, "audiences", ())]
    for name in named:
        if name is not None and name not in audiences:
            raise OperatorError(f"{name!r} is not an audience; one of {', '.join(audiences)}")
    vehicle = getattr(decision, "vehicle", None)
    if vehicle is not None and vehicle not in pipeline.plan.vehicles:
        raise OperatorError(f"{vehicle!r} is not a vehicle; one of {', '.join(pipeline.plan.vehicles)}")


def _check_words(decision: Say | Target, pipeline: Pipeline) -> None:
    """Refuse words that tell a place, unless all who would get them get text unchecked."""
    aimed = decision.audiences if isinstance(decision, Say) else ()
    policies = [channel.policy for channel in pipeline.channels if not aimed or channel.policy.audience in aimed]
    text = decision.text if isinstance(decision, Say) else decision.name
    _refuse(pipeline.check_text(text) if any(policy.check_text for policy in policies) else [])


def programme_section(pipeline: Pipeline) -> dict[str, Any] | None:
    """Return the programme as it was decided last, exact, for the operator; None where there is none."""
    if pipeline.programme is None:
        return None
    at_us, programme = pipeline.programme
    return {
        "pinned": programme.pinned,
        "schedule": list(programme.schedule),
        "next_dive_in_s": programme.next_dive_in_s,
        "told_us": at_us,
    }


def _told_as(decision: Programme, pipeline: Pipeline) -> dict[str, int | None]:
    """Return how long until the next dive each audience is told; refuse words that tell a place or a time."""
    policies = [channel.policy for channel in pipeline.channels if Disclosed.NOTES in channel.policy.fields]
    if not policies:
        raise OperatorError("no audience is shown annotations, so none is told a programme")
    if any(policy.check_text for policy in policies):
        _refuse([finding for text in decision.texts for finding in pipeline.check_programme(text)])
    left_s = decision.next_dive_in_s
    return {policy.audience: None if left_s is None else coarse_s(left_s, policy.extra_us) for policy in policies}


def _refuse(findings: list[Finding]) -> None:
    if findings:
        raise OperatorError("not taken, please rewrite: " + " ".join(finding.why for finding in findings))


def _shown_to(decision: Say, pipeline: Pipeline) -> list[str]:
    """Return which audiences get the still of an annotation; refuse it where none does, or where there are too many."""
    aimed = decision.audiences or [channel.policy.audience for channel in pipeline.channels]
    named = {Disclosed.NOTES, Disclosed.STILLS}
    shown = [channel for channel in pipeline.channels if named <= channel.policy.fields]
    shown = [channel for channel in shown if channel.policy.audience in aimed]
    if not shown:
        raise OperatorError(
            f'none of {", ".join(aimed)} is shown stills: leave --still away, or name "stills" in the fields of an '
            "[[audience]] in the expedition file"
        )
    if max(channel.stills for channel in shown) + pipeline.stills_waiting() >= STILLS_A_DIVE:
        raise OperatorError(f"a dive has at most {STILLS_A_DIVE} stills, and these are out or waiting: say it without")
    return [channel.policy.audience for channel in shown]


def _already_out(cut: Cut, pipeline: Pipeline) -> dict[str, str]:
    """Return, by audience, how much of a cut had already left."""
    out = {}
    for channel in pipeline.channels:
        late_us = min(channel.edge_us, cut.to_us) - cut.from_us
        whole = "all of it" if late_us >= cut.to_us - cut.from_us else f"the first {say_duration(late_us)} of it"
        out[channel.policy.audience] = "none of it" if late_us <= 0 else whole
    return out
