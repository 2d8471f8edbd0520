"""What the last audits found, kept beside the journal: `audit.json`, by audience, mode 0600.

Rules (R4): a result counts for the very policy, area and charts that were audited (SHA-256, FIPS 180-4), for no other;
an audience with a promise starts only on one that has passed. A result that has not passed takes the place of one that
had. Nothing in the file tells a place, but what it says of the policy's weakness is the operator's alone.
"""

import json
import os
import stat
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from relay.core.errors import OperatorError
from relay.core.policy import Plan, Policy
from relay.shell.expedition import Expedition
from relay.shell.quantities import say_number

NAME = "audit.json"
LEAST_SITES = 20  # of fewer, the 5th percentile is the least of them or none at all
LEAST_COVERED, MOST_COVERED = 0.93, 0.97  # DESIGN.md section 6
HOW = "run `offing audit --for {}`"


@dataclass(frozen=True, slots=True, kw_only=True)
class Audited:
    """What an audit found of one audience's policy.

    `low_km2`: the 5th percentile of RSA95 over `sites` random places of the area, km2. `level`: the mass of the
    posterior that is a 95 % region; `covered`: the share of fresh places that lay in it.
    """

    audience: str
    low_km2: float
    level: float
    covered: float
    sites: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A result as it is kept: what was audited (digests), what was found, when (Unix seconds, UTC) and by whom."""

    found: Audited
    policy: str
    charts: tuple[str, ...]
    promise_km2: float
    wall_s: float
    who: str


def policy_digest(policy: Policy, plan: Plan) -> str:
    """Return the SHA-256 of what decides how much is given away: the policy, the area, the zones and a leg's limits."""
    audited = [asdict(policy), asdict(plan.legs), plan.site_radius_m]
    audited.append(None if plan.area is None else asdict(plan.area))
    audited.append([asdict(zone) for zone in plan.zones])
    return sha256(json.dumps(audited, sort_keys=True, default=_plain).encode()).hexdigest()


def _plain(value: object) -> Any:
    if isinstance(value, frozenset):
        return sorted(map(str, value))
    raise TypeError(f"{type(value).__name__} has no canonical form")


def chart_digest(path: Path) -> str:
    """Return the SHA-256 of a chart's file; OperatorError where it can't be read."""
    digest = sha256()
    try:
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                digest.update(block)
    except OSError as error:
        raise OperatorError(f"the chart {path} can't be read ({error.strerror}): put it there") from error
    return digest.hexdigest()


def write_passed(expedition: Expedition, found: Sequence[Audited], *, who: str, wall_s: float) -> list[str]:
    """Keep what an audit found of audiences of this expedition; return for each, in words, whether it has passed.

    OperatorError where an audience has no promise, a chart can't be read, or the file can't be written.
    """
    kept, digests = read_results(expedition.private), tuple(map(chart_digest, expedition.audit.charts))
    for one in found:
        policy = _policy(expedition, one.audience)
        kept[one.audience] = Kept(
            found=one,
            policy=policy_digest(policy, expedition.plan),
            charts=digests,
            promise_km2=expedition.audit.promises[one.audience],
            wall_s=wall_s,
            who=who,
        )
    _write(expedition.private, kept)
    return [_outcome(expedition, one) for one in found]


def _policy(expedition: Expedition, audience: str) -> Policy:
    if audience not in expedition.audit.promises:
        raise OperatorError(f'audience "{audience}" has no promise in {expedition.path}: add one, such as "87 km2"')
    return next(policy for policy in expedition.plan.policies if policy.audience == audience)


def _outcome(expedition: Expedition, one: Audited) -> str:
    fault = _fault_of(one, expedition.audit.promises[one.audience])
    return f"{one.audience}: {'passed' if fault is None else f'NOT passed: {fault}'}"


def read_results(private: Path) -> dict[str, Kept]:
    """Return what is kept, by audience; OperatorError where the file isn't one, or others may write or read it."""
    path = private / NAME
    try:
        mode, text = stat.S_IMODE(path.stat().st_mode), path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise OperatorError(f"{path} can't be read: take it away, and {HOW.format('EXPEDITION.toml')}") from error
    if mode & 0o077:
        raise OperatorError(f"{path} is open to others (mode {mode:o}). Run: chmod 600 {path}")
    try:
        return {name: _read(value) for name, value in json.loads(text)["audiences"].items()}
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise OperatorError(f"{path} is no audit's result: take it away, and audit again") from error


def _read(value: dict[str, Any]) -> Kept:
    found = Audited(**value["found"])
    numbers = (found.low_km2, found.level, found.covered, found.sites, value["promise_km2"], value["wall_s"])
    if not all(isinstance(number, int | float) and not isinstance(number, bool) for number in numbers):
        raise ValueError("a number is none")
    return Kept(**{**value, "found": found, "charts": tuple(value["charts"])})


def _write(private: Path, kept: dict[str, Kept]) -> None:
    """Write the file whole or not at all."""
    value = {
        "offing": "results of audits: for the operator alone",
        "audiences": {k: asdict(v) for k, v in kept.items()},
    }
    path, new = private / NAME, private / f"{NAME}.new"
    try:
        private.mkdir(parents=True, exist_ok=True, mode=0o700)
        new.unlink(missing_ok=True)
        descriptor = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            json.dump(value, file, indent=1)
            file.flush()
            os.fsync(file.fileno())
        new.replace(path)
    except OSError as error:
        raise OperatorError(f"{path} can't be written ({error.strerror}), so the audit's result isn't kept") from error


def why_not(expedition: Expedition) -> dict[str, str | None]:
    """Return, for each audience with a promise, why it may not start (None: its audit has passed).

    OperatorError where what is kept can't be read at all.
    """
    if not expedition.audit.promises:
        return {}
    kept = read_results(expedition.private)
    charts, fault = _charts(expedition)
    out: dict[str, str | None] = {}
    for audience, promise_km2 in expedition.audit.promises.items():
        faults = [fault] if fault else list(_faults(expedition, audience, promise_km2, kept.get(audience), charts))
        out[audience] = next(iter(faults), None)
    return out


def _charts(expedition: Expedition) -> tuple[tuple[str, ...], str | None]:
    try:
        return tuple(map(chart_digest, expedition.audit.charts)), None
    except OperatorError as error:
        return (), str(error)


def _faults(
    expedition: Expedition, audience: str, promise_km2: float, kept: Kept | None, charts: tuple[str, ...]
) -> Iterator[str]:
    again = HOW.format(expedition.path)
    if kept is None:
        yield f"it was never audited: {again}"
        return
    if kept.policy != policy_digest(_policy(expedition, audience), expedition.plan):
        yield f"its policy, the area or a zone was changed since it was audited {_when(kept)}: {again}"
    if kept.charts != charts:
        yield f"the charts are others than those it was audited with {_when(kept)}: {again}"
    if (fault := _fault_of(kept.found, promise_km2)) is not None:
        yield f"the audit {_when(kept)} was not passed: {fault}"


def _fault_of(found: Audited, promise_km2: float) -> str | None:
    """Return why a result doesn't keep a promise."""
    if found.sites < LEAST_SITES:
        return f"it tried {found.sites} places, too few to tell: try {LEAST_SITES} or more"
    if not LEAST_COVERED <= found.covered <= MOST_COVERED:
        return (
            f"its 95 % region held the true place in {100 * found.covered:.0f} % of trials, so its areas "
            "are no measure: give a chart whose errors are known better (--chart-error)"
        )
    if not found.low_km2 >= promise_km2:
        return (
            f"at one place in twenty it leaves {say_area(found.low_km2)} or less, and {say_area(promise_km2)} are "
            "promised: coarsen the policy (`offing advise` finds how), or promise less"
        )
    return None


def level_of(expedition: Expedition, audience: str) -> float:
    """Return the mass of the posterior that the audit of an audience found to be a 95 % region."""
    return read_results(expedition.private)[audience].found.level


def say_area(km2: float) -> str:
    """Return an area in words, to three figures: "87 km2", "0.35 km2"."""
    return f"{say_number(float(f'{km2:.3g}'))} km2"


def _when(kept: Kept) -> str:
    return f"on {datetime.fromtimestamp(kept.wall_s, UTC):%Y-%m-%d} by {kept.who}"


def passed_words(expedition: Expedition, audience: str, why: str | None) -> str:
    """Return a line for `offing check`: what is promised, and how the audit stands."""
    promise = say_area(expedition.audit.promises[audience])
    told = f"  Promise: whoever looks for the place is left {promise} or more to search"
    if why is not None:
        return f"{told}. It DOESN'T START: {why}"
    kept = read_results(expedition.private)[audience]
    return f"{told}; audited {_when(kept)}: {say_area(kept.found.low_km2)} or more at 19 places in 20"
