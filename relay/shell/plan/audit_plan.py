"""What an expedition file says of the audit: which audiences are promised how much, and what an outsider has.

Rules (R4): a promise that can't be kept or can't be watched is a fault, told at its key with the remedy. Paths are
looked at by whoever reads the files, not here.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import pi
from pathlib import Path

from relay.core.area import Area
from relay.core.geodesy import Anchor, plane
from relay.core.policy import MICROSECONDS, Place
from relay.shell.plan.expedition_faults import Fault
from relay.shell.plan.expedition_form import AudiencePart, File
from relay.shell.plan.quantities import say_number

# The ship must have the time to work out, before a record leaves, what it gives away: a round of `promises` that began
# just before it came in, one that fails and a full one, with the wait before each; else their length would tell (R2).
LEAST_DELAY_US = 20 * 60 * MICROSECONDS


@dataclass(frozen=True, slots=True)
class AuditPlan:
    """The promises by audience (km2 that must be left to an outsider), and the files an outsider is taken to have."""

    promises: Mapping[str, float] = field(default_factory=dict)
    charts: tuple[Path, ...] = ()
    ship_track: Path | None = None
    wrecks: Path | None = None


NO_AUDIT = AuditPlan()


def audit_of(file: File, path: Path) -> AuditPlan:
    """Return what a file at `path` says of the audit."""
    promises = {item.name: item.promise for item in file.audience if item.promise is not None}
    part, folder = file.audit, path.resolve().parent
    if part is None:
        return NO_AUDIT
    track, wrecks = (None if name is None else folder / name for name in (part.ship_track, part.wrecks))
    return AuditPlan(promises, tuple(folder / name for name in part.charts), track, wrecks)


def promise_faults(file: File, area: Area | None) -> list[Fault]:
    """Return what is wrong with promises, and with the charts to measure them by."""
    faults: list[Fault] = []
    charts = [] if file.audit is None else file.audit.charts
    for at, name in enumerate(charts):
        if name in charts[:at]:
            faults.append((("audit", "charts", at), f"{name!r} is there twice: name each chart once"))
    promised = [(at, item, item.promise) for at, item in enumerate(file.audience) if item.promise is not None]
    for at, audience, promise_km2 in promised:
        for key, why in _faults_of(audience, promise_km2, file, area):
            faults.append((("audience", at, key), why))
    return faults


def _faults_of(audience: AudiencePart, promise_km2: float, file: File, area: Area | None) -> Iterator[tuple[str, str]]:
    if file.audit is None:
        why = "can't be measured without a chart of the area as an outsider has it"
        yield "promise", f'{why}: add [audit] with charts = ["chart.nc"]'
    if audience.place is Place.EXACT:
        yield (
            "promise",
            'place = "exact" tells the place, so no area is left: take promise away, or set place = "local"',
        )
    elif audience.delay < LEAST_DELAY_US:
        why = "a promise is watched by working out, before a record leaves, what it gives away, which takes minutes"
        yield "delay", f'{why}: set delay = "20 min" or more, or take promise away'
    if area is not None and promise_km2 > (known_km2 := expanse_km2(area)):
        told = f"the declared area has {say_number(round(known_km2, 2))} km2 in all"
        yield "promise", f"{told}, and everybody knows it: promise less, or declare a larger area"


def expanse_km2(area: Area) -> float:
    """Return how large a declared area is: a circle's as of the plane, a polygon's by the shoelace formula there."""
    if area.radius_m is not None:
        return pi * (area.radius_m / 1000) ** 2
    origin = Anchor(*area.corners[0], 0)
    ring = [plane(*corner, origin)[:2] for corner in area.corners]
    pairs = zip(ring, ring[1:] + ring[:1], strict=True)
    return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairs)) / 2e6
