"""The keys of an audience in the expedition file that settings stand for, in the words of that file.

Rules: only what changes is named; what a preset sets and no key can unset is set to the value that means the same.
"""

from collections.abc import Mapping

from relay.audit.advising.settings import SITE_RADIUS_M, Settings, settings_of
from relay.core.policy import Disclosed, Leg, Policy
from relay.shell.plan.expedition_form import PRESETS
from relay.shell.plan.quantities import length_m, say_length, say_number


def changed_keys(before: Policy, after: Policy, own: Mapping[str, object]) -> dict[str, str | None]:
    """Return by key what must stand behind it, in TOML (None: it goes); `own`: what the file says of the audience."""
    old, new = settings_of(before), settings_of(after)
    keys: dict[str, str | None] = {}
    if old.tick_s != new.tick_s:
        keys["tick"] = _quoted(f"{new.tick_s} s")
    if old.cell_m != new.cell_m:
        keys["cell"] = _length(new.cell_m)
    if before.fields != after.fields:
        keys["fields"] = _listed([str(field) for field in Disclosed if field in after.fields])
    if new.depth_step_m is not None:
        keys |= _depth(old, new, own)
    if old.legs != new.legs:
        keys["track_legs"] = _listed([str(leg) for leg in Leg if leg in new.legs])
    if old.radius_m != new.radius_m:
        keys["radius"] = _length(new.radius_m or SITE_RADIUS_M)
    return keys


def _depth(old: Settings, new: Settings, own: Mapping[str, object]) -> dict[str, str | None]:
    assert new.depth_step_m is not None
    keys: dict[str, str | None] = {}
    if old.depth_step_m != new.depth_step_m:
        keys["depth_step"] = _length(new.depth_step_m)
    if old.relative != new.relative:
        keys["depth"] = _quoted("relative" if new.relative else "absolute")
    descent = _descent(new, own)
    return keys | ({} if descent is _AS_IT_IS else {"descent_step": descent})


_AS_IT_IS = "as it is"


def _descent(new: Settings, own: Mapping[str, object]) -> str | None:
    """Return what must stand behind descent_step, None where the key must go."""
    preset = PRESETS.get(str(own.get("preset")), {}).get("descent_step")
    mine = own.get("descent_step")
    if new.relative or (new.descent_step_m is None and preset is None):
        return _AS_IT_IS if mine is None else None
    wanted_m = new.descent_step_m or new.depth_step_m
    stated = mine if mine is not None else preset
    if stated is not None and length_m(stated) == wanted_m:
        return _AS_IT_IS
    return _length(wanted_m or 0.0)


def _length(metres: float) -> str:
    return _quoted(say_length(metres) if metres < 1000 or metres % 100 == 0 else f"{say_number(metres)} m")


def _quoted(text: str) -> str:
    return f'"{text}"'


def _listed(words: list[str]) -> str:
    return f"[{', '.join(map(_quoted, words))}]"
