"""What an audit found, in words for the operator: what is left, attack by attack, and what to do about it.

Rules: no place is told here (the report's map shows it, and an attack that read one off the release names it); where
there is no number, it says why and gives none; areas have no more figures than a chart of cells can bear.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from relay.audit.played import LEVEL, WITHIN_M, Played, Score

NO_NUMBER = "no number"
MISLED = (
    "WARNING: that is no measure of safety. At known places this outsider was often sure of a wrong place, so his area "
    "had to be made large to hold the true one; one who reads the chart better is left with less. Give a better chart "
    "(--chart), or one to learn from how wrong it is (--seabed)."
)
_SAME = 0.01
_LESS = "less only as measured: what is read from the rest then fits elsewhere, and how often that holds isn't tried"


@dataclass(frozen=True, slots=True)
class AttackLine:
    """One attack: its name, what it leaves, and what it made of the case."""

    name: str
    left: str
    words: str
    leaks: tuple[str, ...]


def say_km2(area_km2: float) -> str:
    """Return an area in words: "0.02 km2", "7.4 km2", "2,340 km2"."""
    if area_km2 < 0.995:
        return f"{float(f'{area_km2:.1g}' if area_km2 < 0.0995 else f'{area_km2:.2g}'):g} km2"
    if area_km2 < 9.95:
        return f"{area_km2:.1f} km2"
    return f"{float(f'{area_km2:.3g}'):,.0f} km2"


def headline(played: Played) -> str:
    """Return the one sentence that counts."""
    if played.joint is None:
        return "No area can be given."
    left = say_km2(played.left_km2 or 0.0)
    if played.outright:
        return f"The place is given away: it was told outright ({left}: a cell of the chart for each place)."
    if not played.each and not _floor_binds(played):
        return (
            "Nothing that was released could be laid on the chart or told of the place, so all of the declared "
            f"{say_km2(played.prior_km2)} is left. That is no proof of safety: below it says why, attack by attack."
        )
    who = "An outsider who has the ship's track (AIS)" if _floor_binds(played) else "An outsider"
    return f"{who} is left with {left} to search, of {say_km2(played.prior_km2)} declared."


def _floor_binds(played: Played) -> bool:
    """Whether the ship's own track leaves less than all attacks together are said to."""
    return played.joint is not None and played.floor_km2 is not None and played.floor_km2 < played.joint.area_km2


def meaning(played: Played) -> str:
    """Return a plain paragraph: what that means, and what makes it more."""
    parts = [headline(played), *([MISLED] if played.misled and played.joint is not None else [])]
    if played.refused:
        parts.append(played.refused)
    if played.joint is not None and (played.each or _floor_binds(played)):
        parts += _of_joint(played, played.joint)
    if played.joint is None and played.floor_km2 is not None:
        parts.append(f"The ship's own track (AIS) alone leaves {say_km2(played.floor_km2)}, however this is set.")
    if played.leaks:
        parts.append(
            "Something was released that should not have been there at all; it is listed below. Don't release more "
            "until it is known why."
        )
    return " ".join(parts)


def _of_joint(played: Played, joint: Score) -> Iterator[str]:
    yield f"That is {_percent((played.left_km2 or 0.0) / played.prior_km2)} of the area."
    if played.half_km2 is not None and played.half_km2 < (played.left_km2 or 0.0):
        yield f"At half of the known places it was tried at, the most probable {say_km2(played.half_km2)} were enough."
    bits = _bits(joint.posterior.lost_bits)
    yield f"By the outsider's own belief {bits} of uncertainty are lost, and each halves what is left."
    if _floor_binds(played):
        yield (
            f"That is the floor about the places where she stayed, which no setting can raise; all attacks together "
            f"leave {say_km2(joint.area_km2)}: the lesser of the two counts."
        )
    elif played.floor_km2 is not None:
        yield (
            f"The ship's own track alone leaves {say_km2(played.floor_km2)}: no setting here can keep more than "
            "that, only where the ship is seen to be. It is counted in the area above."
        )
    gain = next((item for item in played.withheld if item.area_km2 is not None), None)
    if gain is not None and gain.area_km2 is not None and gain.area_km2 > 1.05 * joint.area_km2:
        yield f"The field that gave most away is {gain.field}: without it, {say_km2(gain.area_km2)} would be left."
    elif played.withheld:
        yield "No single field gave the place away: withholding any one of them leaves about the same area."


def _bits(bits: float) -> str:
    return f"{bits:.1f} bits"


def _percent(share: float) -> str:
    return f"{share:.0%}" if share >= 0.095 else f"{float(f'{share * 100:.1g}'):g}%"


def numbers(played: Played) -> list[tuple[str, str]]:
    """Return the numbers of the result, each with its name."""
    rows = [("Declared area, cells in or beside water", say_km2(played.prior_km2))]
    joint = played.joint
    rows.append(("Residual search area (RSA95), all attacks", NO_NUMBER if joint is None else say_km2(joint.area_km2)))
    if joint is not None:
        if played.half_km2 is not None:
            rows.append(("Enough at half of the known places", say_km2(played.half_km2)))
        rows.append(("Uncertainty lost, by the outsider's own belief", _bits(joint.posterior.lost_bits)))
        rows.append((f"Within {WITHIN_M:.0f} m of the best guess, he believes", f"{joint.near:.1%}"))
    if played.floor_km2 is not None:
        rows.append(("What the ship's own track leaves", say_km2(played.floor_km2)))
    if played.trial is not None:
        trial = played.trial
        rows.append((f"Truth found inside, of {trial.trials} trials", f"{trial.covered:.1%}"))
        rows.append((f"Probability that holds it in {LEVEL:.0%}", f"{trial.level:.1%}"))
    if joint is not None and joint.truth_inside is not None and joint.error_m is not None:
        rows.append(("The true place lies", "inside the area" if joint.truth_inside else "OUTSIDE the area"))
        rows.append(("The best guess is off by", say_distance(joint.error_m)))
    return rows


def say_distance(metres: float) -> str:
    """Return a distance in words: "240 m", "3.4 km", "58 km"."""
    if metres < 995:
        return f"{float(f'{metres:.2g}'):.0f} m"
    return f"{metres / 1_000:.1f} km" if metres < 9_950 else f"{metres / 1_000:,.0f} km"


def attack_lines(played: Played) -> list[AttackLine]:
    """Return a line for each attack, those that found most first."""
    lines = [
        (_left_km2(played, finding.attack), AttackLine(finding.attack, _left(played, at), finding.words, finding.leaks))
        for at, finding in enumerate(played.findings)
    ]
    return [line for _, line in sorted(lines, key=lambda pair: pair[0])]


def _left_km2(played: Played, name: str) -> float:
    score = played.each.get(name)
    return float("inf") if score is None else score.area_km2


def _left(played: Played, at: int) -> str:
    finding = played.findings[at]
    score = played.each.get(finding.attack)
    if score is not None:
        return say_km2(score.area_km2)
    if finding.log_likelihood is not None:
        return NO_NUMBER
    if finding.leaks:
        return "a leak"
    return "no place found" if finding.worked else "nothing to work on"


def field_lines(played: Played) -> list[tuple[str, str]]:
    """Return what would be left without each field, most first; those that make no difference on one line."""
    lines, same = list[tuple[str, str]](), list[str]()
    for item in played.withheld:
        if item.area_km2 is None:
            lines.append((str(item.field), NO_NUMBER))
        elif played.joint is not None and abs(item.area_km2 / played.joint.area_km2 - 1) < _SAME:
            same.append(str(item.field))
        elif played.joint is not None and item.area_km2 < played.joint.area_km2:
            lines.append((str(item.field), f"{say_km2(item.area_km2)} ({_LESS})"))
        else:
            lines.append((str(item.field), say_km2(item.area_km2)))
    return [*lines, *([(", ".join(same), "no difference")] if same else [])]
