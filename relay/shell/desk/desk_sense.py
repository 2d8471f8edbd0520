"""Whether a decision that only the desk knows of makes sense: zones, sightings, what waits, what is expected.

Rules: refused before it is journalled, with what is right; what is answered is for the operator alone.
"""

from typing import Any

from relay.core.area import Lies, where_lies
from relay.core.decision import Back, HideZone, LiftZone, Resume, Say, Target
from relay.core.desk_record import TARGETS_LIMIT, WAITING_LIMIT, Waiting
from relay.core.errors import OperatorError
from relay.core.find import Find
from relay.core.pipeline import Pipeline
from relay.core.policy import Place
from relay.core.sighting import FRESH_US, place_of
from relay.shell.desk.desk_finds import place_parts

ZONES_LIMIT = 100


def waiting_say(row: int, pipeline: Pipeline) -> Waiting:
    """Return what waits by its row; OperatorError names the rows of all that does."""
    if row not in pipeline.waiting:
        rows = ", ".join(str(number) for number in pipeline.waiting) or "nothing"
        raise OperatorError(f"row {row} doesn't wait for approval (any more?); waiting: {rows}")
    return pipeline.waiting[row]


def check_wait(_: Say, pipeline: Pipeline) -> None:
    """Refuse one more say where too many wait."""
    if len(pipeline.waiting) >= WAITING_LIMIT:
        raise OperatorError(f"{WAITING_LIMIT} annotations wait for approval: approve or dismiss some of them first")


def check_resume(decision: Resume, pipeline: Pipeline) -> dict[str, Any]:
    """Return who stays stopped, and by which vehicle; refuse what undoes a hold unseen, or resumes nobody."""
    meant = [each for each in pipeline.channels if decision.audience in (None, each.policy.audience)]
    if decision.seen is not None and (again := [each for each in meant if each.held_row > decision.seen]):
        names = ", ".join(each.policy.audience for each in again)
        raise OperatorError(f"{names} {'was' if len(again) == 1 else 'were'} held again since: look, then resume again")
    if decision.means_outside:
        return {}
    stays = {each.policy.audience: each.outside for each in meant if each.outside is not None}
    if stays and not any(each.held for each in meant):
        why = ", ".join(f"the release to {name} stopped, as {vehicle} was" for name, vehicle in stays.items())
        raise OperatorError(
            f"{why} outside the declared area. To resume all doesn't mean that: name the audience, or say that you "
            'mean it ("outside": true; offing tell ... resume --outside)'
        )
    return {"stays_stopped": stays} if stays else {}


def check_target(target: Target, pipeline: Pipeline) -> dict[str, Any]:
    """Return where a target lies that somebody sees, for the operator alone; refuse what can't be worked out."""
    if target.name not in pipeline.targets and len(pipeline.targets) >= TARGETS_LIMIT:
        raise OperatorError(f"there are {TARGETS_LIMIT} targets, and there is room for no more: use a name again")
    if target.sighting is None:
        return {}
    if target.sighting.seen_from is None:
        raise OperatorError(
            f"where the target lies can't be worked out: {target.vehicle} has told no position and heading within "
            f"{FRESH_US // 1_000_000} s that are beyond doubt. Say it again when it has, or without the sighting"
        )
    place = place_of(target.sighting, target.sighting.seen_from)
    return {
        "place": {
            "latitude_deg": place.latitude_deg,
            "longitude_deg": place.longitude_deg,
            "radius_95_m": place.spread.radius_95_m,
            "first_order": place.first_order,
        }
    }


def check_find(find: Find, pipeline: Pipeline) -> dict[str, Any]:
    """Return whether this is a find as found, and the place that is journalled; refuse what would overwrite one."""
    pipeline.finds.check(find)
    counts = {"photographs": len(find.photographs or ()), "drawings": len(find.drawings or ())}
    place = None if find.place is None else place_parts(find.place)
    return {"as_found": find.supersedes is None, "supersedes": find.supersedes, "place": place, **counts}


def check_zone(decision: HideZone, pipeline: Pipeline) -> dict[str, Any]:
    """Return from whom a zone hides; refuse one whose name is taken, or where nothing is shown anyway."""
    in_force = pipeline.zones
    same = next((zone for zone in in_force if zone.zone.name == decision.name), None)
    if same is not None:
        whose = "is of the expedition file" if same.row is None else f"still hides from {', '.join(same.audiences)}"
        raise OperatorError(f'a zone "{decision.name}" {whose}: choose another name')
    before = [taken.decision for taken in pipeline.taken]
    told = next((zone for zone in before if isinstance(zone, HideZone) and zone.name == decision.name), None)
    if told is not None and told.margin_m != decision.margin_m:
        raise OperatorError(
            f'a zone "{decision.name}" was told before with a margin of {told.margin_m:g} m: two holes of one name and '
            "two margins point at its centre. Choose another name, or that margin"
        )
    if sum(zone.row is not None for zone in in_force) >= ZONES_LIMIT:
        raise OperatorError(f"there are {ZONES_LIMIT} zones of the desk: lift one first, or make one larger")
    area = pipeline.plan.area
    if area is not None and where_lies(decision.zone, area) is Lies.OUTSIDE:
        raise OperatorError(f'the zone lies outside the declared area, "{area.name}", where nothing is shown anyway')
    exact = [policy.audience for policy in pipeline.plan.policies if policy.place is Place.EXACT]
    others = [policy.audience for policy in pipeline.plan.policies if policy.place is not Place.EXACT]
    return {"hidden_from": others, "exact_to": exact}


def check_lift(decision: LiftZone, pipeline: Pipeline) -> dict[str, Any]:
    """Return for whom a zone is lifted; refuse one that the desk didn't make."""
    zones = [zone for zone in pipeline.zones if zone.zone.name == decision.name]
    of_desk = [zone for zone in zones if zone.row is not None]
    if zones and not of_desk:
        raise OperatorError(f'"{decision.name}" is a zone of the expedition file: take it out there, and start again')
    if not of_desk:
        known = ", ".join(f'"{zone.zone.name}"' for zone in pipeline.zones if zone.row is not None) or "there is none"
        raise OperatorError(f'"{decision.name}" is no zone of the desk in force; those are: {known}')
    return {"lifted_for": sorted({name for zone in of_desk for name in zone.audiences})}


def check_back(decision: Back, pipeline: Pipeline) -> None:
    """Refuse that a vehicle is back that nobody expects."""
    expected = pipeline.expected.get(decision.vehicle)
    if expected is None:
        raise OperatorError(f"nothing was agreed about {decision.vehicle}, so nobody waits for it")
    if expected.back_us is not None:
        raise OperatorError(f"{decision.vehicle} is back already")
