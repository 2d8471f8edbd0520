"""What `offing advise` found, in words and tables.

Rules: areas to three figures; a bound is told as one ("at most"), never as a measurement; what was not tried is said.
"""

from collections.abc import Iterator, Sequence
from dataclasses import fields, replace

from relay.audit.advising.advise import Advice, Known
from relay.audit.advising.lattice_search import Tried
from relay.audit.advising.settings import DETAIL_IN_WORDS, Settings, settings_of
from relay.audit.advising.trial import Kept
from relay.core.policy import Leg
from relay.shell.plan.quantities import say_length
from relay.shell.ship.audit_result import say_area

NAMES = {
    "tick_s": "a record every",
    "cell_m": "cell",
    "depth_step_m": "depth step, bottom",
    "descent_step_m": "depth step, descent",
    "relative": "depth counts from",
    "altitude": "height in words",
    "legs": "track shown on",
    "radius_m": "track shown within",
}
MOST_ROWS = 14


def value(settings: Settings, part: str) -> str:
    """Return one part of settings in words."""
    told = getattr(settings, part)
    if part == "tick_s":
        return f"{told} s"
    if part == "altitude":
        return "yes" if told else "no"
    if settings.depth_step_m is None and part in ("depth_step_m", "descent_step_m", "relative"):
        return "not told" if part == "depth_step_m" else "-"
    if part == "relative":
        return "where the bottom is reached" if told else "the surface"
    if part == "legs":
        return ", ".join(str(leg) for leg in Leg if leg in told)
    if part == "descent_step_m" and told is None:
        return "not told" if settings.relative else "the same"
    return "no limit" if told is None else say_length(told)


def short(settings: Settings) -> str:
    """Return settings in a line."""
    depth = "no depth"
    if settings.depth_step_m is not None:
        kind = "relative depth" if settings.relative else "depth"
        finer = f" ({say_length(settings.descent_step_m)} in descent)" if settings.descent_step_m else ""
        depth = f"{kind} in {say_length(settings.depth_step_m)}{finer}"
    reach = "everywhere" if settings.radius_m is None else f"within {say_length(settings.radius_m)}"
    legs = "bottom" if settings.legs == {Leg.BOTTOM} else f"{len(settings.legs)} legs"
    words = "height in words" if settings.altitude else "no height"
    return f"{settings.tick_s} s, {say_length(settings.cell_m)}, {depth}, {words}, {legs}, {reach}"


def left_words(kept: Kept) -> str:
    """Return what is left at 19 places in 20, as a bound where the trial was broken off."""
    return f"{'' if kept.whole else 'at most '}{say_area(kept.fifth_km2)}"


def summary(advice: Advice) -> Iterator[str]:
    """Yield what was found in sentences."""
    promise = say_area(advice.promise_km2)
    if advice.choice is None:
        yield (
            f"No settings keep {promise} for {advice.policy.audience}: the coarsest leave "
            f"{say_area(advice.largest_km2)} at 19 places in 20, the largest promise there is room for. Promise less, "
            "or declare a larger area."
        )
        return
    audited = advice.choice.audited
    assert audited is not None
    places = len(audited.left)
    yield (
        f"These settings keep {promise} for {advice.policy.audience}, with a detail of {advice.choice.detail:.1f}: at "
        f"{places - audited.short} of {places} fresh places they left as much, and {left_words(audited)} at 19 in 20."
    )
    yield covered_words(advice)
    if advice.whole:
        yield (
            f"Nothing else that shows {advice.worth:g} points more keeps it: {len(advice.tried)} settings were tried, "
            "and every other is at least as fine as one that doesn't, or shows less than that."
        )
    else:
        yield f"The search ended after {len(advice.tried)} settings: there may be better ones (--most tries more)."


def covered_words(advice: Advice) -> str:
    """Return whether the areas can be trusted."""
    assert advice.choice is not None and advice.choice.audited is not None
    calibration = advice.choice.audited.calibration
    assert calibration is not None
    told = f"The true place lay in the outsider's region in {100 * calibration.covered:.0f} % of these"
    if calibration.holds:
        return f"{told}, as it should (93 to 97 %)."
    return f"{told}: not in 93 to 97 %, so DON'T trust these areas. Give the chart's error better (--chart-error)."


def choice_rows(advice: Advice) -> Iterator[tuple[str, str, str, str]]:
    """Yield for each part its name, what it is now, what is advised, and what one step finer would leave."""
    assert advice.choice is not None
    now, chosen = settings_of(advice.policy), advice.choice.settings
    for part in fields(Settings):
        finer = _finer(advice, part.name)
        yield NAMES[part.name], value(now, part.name), value(chosen, part.name), finer


def _finer(advice: Advice, part: str) -> str:
    """Return what was found of settings that differ from the choice in one part and are finer."""
    assert advice.choice is not None
    chosen = advice.choice.settings
    found = [
        one
        for one in advice.tried
        if one.settings != chosen
        and one.settings.at_least(chosen)
        and replace(one.settings, **{part: getattr(chosen, part)}) == chosen
    ]
    if not found:
        return "-"
    nearest = min(found, key=lambda one: one.detail)
    return f"{value(nearest.settings, part)}: {left_words(nearest.audited or nearest.kept)}"


def trade_rows(advice: Advice) -> list[tuple[str, str, str, str]]:
    """Return detail, what is left, whether that keeps the promise, and what it is: most detail first."""
    chosen = advice.choice
    rows = [(one.detail, _row(one, chosen)) for one in _shown(advice.tried, chosen)]
    rows += [(one.detail, _known_row(one, advice.promise_km2)) for one in advice.known]
    return [row for _, row in sorted(rows, key=lambda item: -item[0])]


def _shown(tried: Sequence[Tried], chosen: Tried | None) -> list[Tried]:
    """Return those to list: nearest in detail to the choice."""
    middle = chosen.detail if chosen is not None else tried[0].detail
    return sorted(tried, key=lambda one: abs(one.detail - middle))[:MOST_ROWS]


def _row(one: Tried, chosen: Tried | None) -> tuple[str, str, str, str]:
    kept = one.audited or one.kept
    mark = "ADVISED: " if chosen is not None and one.settings == chosen.settings else ""
    return f"{one.detail:.1f}", left_words(kept), "yes" if one.enough else "no", mark + short(one.settings)


def _known_row(one: Known, promise_km2: float) -> tuple[str, str, str, str]:
    enough = one.kept.fifth_km2 >= promise_km2
    return f"{one.detail:.1f}", left_words(one.kept), "yes" if enough else "no", one.name


DETAIL = " ".join(DETAIL_IN_WORDS.split())
