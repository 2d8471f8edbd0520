"""What the desk says of tether, overdue dives and survey: short sentences and alarms, without a position in them.

Rules: pure. An alarm's words stay the same while it lasts, so that it is told once; figures that move stand in the
sections of the state.
"""

from relay.core.in_words import area, metres, span
from relay.core.overdue import Alarm, Lateness, Standing
from relay.core.reach import Tether, TetherWord
from relay.core.survey_day import Surveyed


def overdue_words(judged: Alarm) -> str:
    """Return how an autonomous dive stands."""
    if judged.back.standing is Standing.BACK:
        return "back"
    said = [_back(judged.back)]
    if judged.report is not None:
        said.append(_report(judged.report, judged.missing_reports))
    return "; ".join(said)


def overdue_alarms(name: str, judged: Alarm) -> list[str]:
    """Return what is overdue of a vehicle."""
    out = []
    if judged.back.standing is Standing.OVERDUE:
        out.append(f"{name} is overdue: it isn't back, and the grace that was agreed is over")
    if judged.report is not None and judged.report.standing is Standing.OVERDUE:
        out.append(f"{name} is overdue with its report: none that tells anything new has come within its grace")
    return out


def tether_alarm(name: str, tether: Tether, word: TetherWord, unknown: str = "") -> list[str]:
    """Return what a tether's margin warns of; nothing where there is enough. `unknown`: why it isn't known any more."""
    length = f"{tether.length_m:,.0f} m"
    if unknown and word is not TetherWord.WITHIN:
        return [f"{name} was at the end of its tether ({length}) when that was last known: {unknown}"]
    if word is TetherWord.BEYOND:
        why = "a position, its depth or that length is wrong"
        return [f"{name} would be further from the ship than its tether is long ({length}): {why}"]
    if word is TetherWord.NEAR_END:
        line = f"the straight line from the ship is about {tether.warn_share * 100:.0f} % of {length} or more"
        return [f"{name} is near the end of its tether: {line}, and a tether hangs in a curve, so less of it is left"]
    return []


def survey_words(done: Surveyed, swath_m: float, together: bool) -> str:
    """Return what was done of a survey; `together`: the plan's share is that of several vehicles."""
    covered = done.covered
    if covered is None:
        return f"{done.line_m / 1000:.1f} line km; nothing covered yet"
    again = f", {covered.again_share * 100:.0f} % of it more than once" if covered.passes > 1 else ""
    said = f"{done.line_m / 1000:.1f} line km, {area(covered.area_m2)} covered{again}, {metres(swath_m)} wide"
    if covered.planned_percent is not None:
        said += f"; {covered.planned_percent:.0f} % of the plan{' (all vehicles together)' if together else ''}"
    if done.too_far:
        said += f"; {done.too_far} legs not counted, they lie too far from the plan"
    return said


def _back(back: Lateness) -> str:
    if back.standing is Standing.AWAITED:
        return f"expected back in {_s(-back.late_us)}"
    late = f"expected back {_s(back.late_us)} ago"
    return f"{late}: overdue" if back.standing is Standing.OVERDUE else f"{late}, within its grace"


def _report(report: Lateness, missing: int) -> str:
    if report.standing is Standing.AWAITED:
        return f"next report in {_s(-report.late_us)}"
    late = f"report expected {_s(report.late_us)} ago"
    if report.standing is Standing.OVERDUE:
        return f"{late}, {missing} missing: overdue"
    return f"{late}, within its grace"


def _s(moment_us: int) -> str:
    return span(moment_us / 1_000_000)
