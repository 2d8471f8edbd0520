"""All attacks played on a case, each and together: how small a search area is left to an outsider?

Rules:

1. The area is the smallest set of the chart's cells that holds `LEVEL` of the probability (RSA95). Where the chart was
   compared with the dive, the level is the one that held the truth that often in trials (`Calibration.level`); where
   the trials failed, there is no number for the chart match nor for all attacks together, and words say why.
2. Attacks are taken together by adding their log likelihoods: that takes them as independent of each other. Where two
   use the same field (the chart and a list of wrecks use depth) it counts twice, which leaves less, not more.
3. A place that was told outright (`Finding.outright`: no guess) leaves the one cell that holds it, whatever became of
   the trials; several that disagree leave the cell of each. Without one field it would have been told as well, so none
   is tried. A guess counts by its log likelihood, like everything else.
4. An attack that says nothing of the place leaves the declared area as it was.
5. What a field gave away is how much more would be left without it, judged at the same level.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from relay.audit.attacks.attack import Attack, Case, Finding, Progress, quiet
from relay.audit.charts.chart import Chart, Floats
from relay.audit.matching.calibration import Calibration
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.posterior import Posterior
from relay.audit.withheld import told_fields, without
from relay.core.policy import Disclosed

LEVEL = 0.95
WITHIN_M = 500.0
BY_CHART = "chart match"
FLOOR = "floor_km2"

Place = tuple[float, float]


Evidence = Callable[[Case], tuple[Soundings, ...]]
Try = Callable[[Case, tuple[Soundings, ...], Progress], Calibration]


@dataclass(frozen=True)
class Score:
    """What is left to an outsider who believes a posterior.

    `area_km2`: of the region at `level`; `near`: the probability within `WITHIN_M` of `best`. Given the truth,
    whether it lies in the region and how far off `best` is, metres.
    """

    posterior: Posterior
    level: float
    area_km2: float
    near: float
    best: Place
    truth_inside: bool | None = None
    error_m: float | None = None


@dataclass(frozen=True)
class Without:
    """What would be left had a field been withheld, by all attacks; None where no number can be given."""

    field: Disclosed
    area_km2: float | None


@dataclass(frozen=True)
class Played:
    """What came of it. `each`: scores by attack; `joint`: of all; None, with `refused`, where there is no number.

    `prior_km2`: the declared area on the chart. `floor_km2`: what the ship's own track leaves; no policy keeps more.
    `withheld`: by what was given away, most first. `outright`: the place was told, so that `joint` is no estimate.
    """

    findings: tuple[Finding, ...]
    each: Mapping[str, Score]
    joint: Score | None
    prior_km2: float
    refused: str = ""
    trial: Calibration | None = None
    floor_km2: float | None = None
    withheld: tuple[Without, ...] = ()
    outright: bool = False

    @property
    def left_km2(self) -> float | None:
        """What is left, km2: by all attacks, or about the ship's stays if that is less."""
        if self.joint is None:
            return None
        return self.joint.area_km2 if self.floor_km2 is None else min(self.joint.area_km2, self.floor_km2)

    @property
    def half_km2(self) -> float | None:
        """How little an outsider needs to search as often as not, km2: at the level that half of the trials needed."""
        if self.joint is None or self.trial is None or self.outright:
            return None
        return self.joint.posterior.area_km2(self.trial.half)

    @property
    def misled(self) -> bool:
        """Whether the outsider that is played was often sure of a wrong place, so that his area says little."""
        return self.trial is not None and self.trial.misled and not self.outright

    @property
    def leaks(self) -> tuple[str, ...]:
        """What should never have been there, each once."""
        return tuple(dict.fromkeys(leak for finding in self.findings for leak in finding.leaks))


@dataclass(frozen=True)
class Outsider:
    """Who plays: the attacks, what a dive tells of the seabed, and how the chart match is tried on known places."""

    attacks: Sequence[Attack]
    evidence: Evidence
    try_on_known: Try


def play(outsider: Outsider, case: Case, *, truth: Place | None = None, progress: Progress = quiet) -> Played:
    """Play every attack, judge each and all together, then again without each field.

    `truth`: latitude and longitude of the frame's reference, used to say whether it lies inside and for nothing else.
    ValueError when the declared area has no cell of the chart.
    """
    even = Posterior.of(case.chart, np.zeros(case.chart.shape), case.prior)
    findings = _findings(outsider.attacks, case, progress)
    trial, refused = _tried(outsider, case, findings, progress)
    level = LEVEL if trial is None else trial.level
    each, contradicted = dict[str, Score](), list[str]()
    for finding in findings:
        if _tells_place(finding, case) and not (refused and finding.attack == BY_CHART):
            score = _judged(case, [finding], level if finding.attack == BY_CHART else LEVEL, truth)
            if score is None:
                contradicted.append(finding.attack)
            else:
                each[finding.attack] = score
    kept = [finding for finding in findings if finding.attack not in contradicted]
    joint, refused = _together(case, kept, level, truth, refused or _contradiction(contradicted))
    floors = [finding.facts[FLOOR] for finding in findings if FLOOR in finding.facts]
    told = bool(_told_cells(case, kept))
    withheld = () if joint is None or told else _without_each(outsider, case, kept, joint, progress)
    floor_km2 = min(floors, default=None)
    return Played(tuple(findings), each, joint, even.prior_km2, refused, trial, floor_km2, withheld, told)


def _together(
    case: Case, findings: Sequence[Finding], level: float, truth: Place | None, refused: str
) -> tuple[Score | None, str]:
    """Return what all attacks leave, and why there is no number, if so; a place told outright is one, come what may."""
    if told := _told_cells(case, findings):
        logs = np.full(case.chart.shape, -np.inf)
        logs[tuple(np.array(told).T)] = 0.0
        return _of_logs(case, logs, 1.0, truth), refused
    if refused:
        return None, refused
    joint = _judged(case, findings, level, truth)
    return joint, "" if joint else "The attacks contradict each other: no cell of the chart agrees with all of them."


def _contradiction(attacks: Sequence[str]) -> str:
    if not attacks:
        return ""
    return (
        f"No cell of the chart in the declared area agrees with what {', '.join(attacks)} makes of the dive: the chart "
        "or the declared area is of another place, or the chart is further off than it says (--chart-error)."
    )


def _findings(attacks: Sequence[Attack], case: Case, progress: Progress) -> list[Finding]:
    return [attack.play(case, _named(progress, attack.name)) for attack in attacks]


def _named(progress: Progress, name: str) -> Progress:
    """Return a progress that says which attack is under way, and that it begins."""

    def told(doing: str, share: float) -> None:
        progress(f"{name}: {doing}" if doing else name, share)

    progress(name, 0.0)
    return told


def _tried(
    outsider: Outsider, case: Case, findings: Sequence[Finding], progress: Progress
) -> tuple[Calibration | None, str]:
    """Return what came of the trials, None where nothing is to be tried; and why there is no number, if so."""
    matched = [f.log_likelihood for f in findings if f.attack == BY_CHART and f.log_likelihood is not None]
    soundings = outsider.evidence(case) if matched else ()
    if not soundings:
        return None, ""
    trial = outsider.try_on_known(case, soundings, _named(progress, "trials on known places"))
    if trial.holds and float(np.max(matched)) < trial.fit:
        return trial, (
            "What the dive tells of the seabed fits nowhere on the chart as well as it does at 99 of 100 known places: "
            "the chart or the declared area is of another place, or the chart is further off than it says "
            "(--chart-error). So no area is given: it would be of the wrong place."
        )
    if trial.holds:
        return trial, ""
    return trial, (
        f"The chart match failed its trials: {trial.why or 'the truth lay inside too seldom'}. So no area is given: it "
        "would be a guess. Try it more often (--trials), on a finer chart (--seabed), or say how wrong the chart is "
        "(--chart-error)."
    )


def _tells_place(finding: Finding, case: Case) -> bool:
    return finding.log_likelihood is not None or bool(_told_cells(case, [finding]))


def _told_cells(case: Case, findings: Sequence[Finding]) -> list[tuple[int, int]]:
    """Return the cells (row, column) that were told outright, each once, of those in which the dive may be."""
    told = [case.chart.index(*finding.place) for finding in findings if finding.outright and finding.place is not None]
    where = case.chart.candidates if case.prior is None else case.chart.candidates & case.prior
    return sorted({cell for cell in told if cell is not None and where[cell]})


def _judged(case: Case, findings: Sequence[Finding], level: float, truth: Place | None) -> Score | None:
    """Return what findings leave together; None when no cell agrees with all of them."""
    total: Floats = np.zeros(case.chart.shape)
    for finding in findings:
        if finding.log_likelihood is not None:
            total = total + finding.log_likelihood
        for cell in _told_cells(case, [finding]):
            told = np.full(case.chart.shape, -np.inf)
            told[cell] = 0.0
            total = total + told
    return _of_logs(case, total, level, truth)


def _of_logs(case: Case, logs: Floats, level: float, truth: Place | None) -> Score | None:
    try:
        posterior = Posterior.of(case.chart, logs, case.prior)
    except ValueError:
        return None
    return _score(posterior, level, truth)


def _score(posterior: Posterior, level: float, truth: Place | None) -> Score:
    area_km2, best = posterior.area_km2(level), posterior.best
    score = Score(posterior, level, area_km2, posterior.near(*best, WITHIN_M), best)
    if truth is None:
        return score
    cell = posterior.chart.index(*truth)
    inside = cell is not None and bool(posterior.region(level)[cell])
    return replace(score, truth_inside=inside, error_m=apart_m(posterior.chart, best, truth))


def apart_m(chart: Chart, one: Place, other: Place) -> float:
    """Return how far two places on a chart are apart, metres, by the chart's metres to a degree at the first."""
    north, east = chart.metres_per_degree
    row = int(np.argmin(np.abs(chart.latitude_deg - one[0])))
    turn = (other[1] - one[1] + 180) % 360 - 180
    return hypot(float(north[row]) * (other[0] - one[0]), float(east[row]) * turn)


def _without_each(
    outsider: Outsider, case: Case, findings: Sequence[Finding], joint: Score, progress: Progress
) -> tuple[Without, ...]:
    """Return what would be left without each field that was told, most first."""
    out = []
    told = told_fields(case.dives)
    for at, field in enumerate(told):
        progress(f"without {field}", at / len(told))
        less = replace(case, dives=tuple(without(dive, field) for dive in case.dives))
        again = [_again(outsider, case, less, finding) for finding in findings]
        score = _judged(case, again, joint.level, None)
        out.append(Without(field, None if score is None else score.area_km2))
    return tuple(sorted(out, key=lambda item: -(item.area_km2 or 0.0)))


def _again(outsider: Outsider, case: Case, less: Case, finding: Finding) -> Finding:
    """Return what an attack makes of the case with less in it; what said nothing of the place says no more then."""
    if not _tells_place(finding, case):
        return finding
    if finding.attack == BY_CHART and _same(outsider.evidence(case), outsider.evidence(less)):
        return finding
    attack = next(attack for attack in outsider.attacks if attack.name == finding.attack)
    return attack.play(less)


def _same(one: Sequence[Soundings], other: Sequence[Soundings]) -> bool:
    """Whether two cases tell the same of the seabed."""
    return len(one) == len(other) and all(map(_same_part, one, other))


def _same_part(one: Soundings, other: Soundings) -> bool:
    arrays = "east_m north_m shallowest_m deepest_m step_m least_height_m most_height_m spread_m".split()
    same = all(np.array_equal(getattr(one, name), getattr(other, name)) for name in arrays)
    return same and (one.relative, one.turned) == (other.relative, other.turned)
