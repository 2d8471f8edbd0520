"""Charts, dives and outsiders for tests of the audit: an invented seabed, and what a dive on it released."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from dives import INVENTED_SITE, SIGNER, sealed
from relay.audit.attacks.attack import Case, Dive, Finding, Progress, quiet
from relay.audit.charts.chart import Chart, Floats
from relay.audit.matching.evidence import Soundings
from relay.core.disclosure import Report
from relay.core.policy import Disclosed, Place, Plan, Policy
from relay.core.release import ReleaseLog
from relay.core.wire import decode, encode

TICK_US = 15_000_000
STEP_DEG = 0.004
EXPEDITION = "The search for the Isoline Marr"


def invented_chart(rows: int = 40, columns: int = 50) -> Chart:
    """Return a chart about the invented site: hills and a slope, a corner of land, cells of some 444 by 347 m."""
    latitude = INVENTED_SITE[0] + STEP_DEG * (np.arange(rows) - rows // 2)
    longitude = INVENTED_SITE[1] + STEP_DEG * (np.arange(columns) - columns // 2)
    up, across = np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij")
    depth_m = 120 + 2.5 * across + 40 * np.sin(up / 3.1) * np.cos(across / 4.3) + 11 * np.sin(up * across / 37)
    depth_m[: rows // 8, : columns // 8] = np.nan
    return Chart("invented.csv", latitude, longitude, depth_m, np.full((rows, columns), 4.0))


def released_dive(
    reports: Sequence[Report],
    *,
    audience: str = "public",
    name: str = "dive-001",
    signed: bool = True,
    expedition: str = EXPEDITION,
    **changes: object,
) -> Dive:
    """Return a dive of one vehicle as it was released, a report a tick."""
    values: dict[str, object] = {
        "audience": audience, "delay_us": 0, "extra_us": 0, "tick_us": TICK_US, "fields": frozenset(Disclosed),
        "cell_m": 25.0, "depth_step_m": 1.0, "place": Place.LOCAL,
    }  # fmt: skip
    policy = Policy(**{**values, **changes})  # type: ignore[arg-type]
    plan = Plan(expedition=expedition, vehicles=("Lantern",), sources=(), policies=(policy,))
    log = ReleaseLog(policy, plan, 1, 0, SIGNER.key if signed else None)
    made = [log.open(0), *(log.tick(at * TICK_US, [report]) for at, report in enumerate(reports))]
    made += [log.note(len(reports) * TICK_US, 0, "on the bottom"), log.end(len(reports) * TICK_US)]
    records = tuple(decode(sealed(record) if signed else encode(record)) for record in made)
    return Dive(name, records[0].body, records)


def bottom(east_m: float, north_m: float, depth_m: float, heading_deg: float = 90.0) -> Report:
    """Return what is told of a vehicle that works the seabed."""
    return Report(
        heard=True, east_m=east_m, north_m=north_m, depth_m=depth_m, altitude="on the bottom", leg="bottom",
        heading_deg=heading_deg, mode="tethered",
    )  # fmt: skip


@dataclass(frozen=True)
class DepthReader:
    """An attack of a few lines: the deepest depth told, against the chart, with a normal error. It reads one field."""

    name: str = "chart match"
    error_m: float = 5.0

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return how well each cell's depth agrees."""
        depths = [row[3] for dive in case.dives for record in dive.records if record.kind == 1 for row in record.body]
        told = [depth for depth in depths if depth is not None]
        if not told:
            return Finding(self.name, "No depth is told.", worked=False)
        progress("comparing depths", 1.0)
        off: Floats = case.chart.depth_m - max(told)
        return Finding(
            self.name, "Compared.", log_likelihood=np.where(np.isnan(off), -20.0, -((off / self.error_m) ** 2) / 2)
        )


@dataclass(frozen=True)
class Teller:
    """An attack that finds what it is told to find."""

    finding: Finding

    @property
    def name(self) -> str:
        """The finding's."""
        return self.finding.attack

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return the finding."""
        return self.finding


@dataclass(frozen=True)
class Trials:
    """What came of trials, as a test wants it."""

    level: float = 0.9
    covered: float = 0.95
    trials: int = 200
    holds: bool = True
    fit: float = -inf
    why: str = ""
    half: float = 0.4
    misled: bool = False


def depths_of(case: Case) -> tuple[Soundings, ...]:
    """Return the depths told as soundings at their places; none where none is told."""
    rows = [row for dive in case.dives for record in dive.records if record.kind == 1 for row in record.body]
    told = np.array([row[:4][1:] for row in rows if row[3] is not None and row[1] is not None], dtype=float)
    if not len(told):
        return ()
    none, depth = np.zeros(len(told)), told[:, 2]
    return (Soundings(told[:, 0], told[:, 1], depth, depth, none, none, none, none),)


def invented_case(dive: Dive | None = None) -> Case:
    """Return a case on the invented chart: a dive that tells a depth of 150 m."""
    dive = dive or released_dive([bottom(25.0 * at, 0.0, 150.0) for at in range(4)])
    return Case(invented_chart(), (dive,))


def with_prior(case: Case, share: float) -> Case:
    """Return the case with the western share of the chart declared."""
    prior = np.zeros(case.chart.shape, dtype=bool)
    prior[:, : int(share * case.chart.shape[1])] = True
    return replace(case, prior=prior)
