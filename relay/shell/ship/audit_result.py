"""What the last audits found, kept beside the journal: `audit.json`, by audience, mode 0600.

Rules (R4): a result counts for the very policy, area, charts and ship's track that were audited (SHA-256, FIPS 180-4),
for no other; an audience with a promise starts only on one that has passed. A result that has not passed takes the
place of one that had; one that can't have been written here (owner, mode, numbers out of range) is none. Nothing in the
file tells a place, but what it says of the policy's weakness is the operator's alone.
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
from relay.shell.plan.expedition import Expedition
from relay.shell.plan.quantities import say_number
from relay.shell.released.printable import printable

NAME = "audit.json"
LEAST_SITES = 200  # of 40, what holds at 95 % of places holds at 93 to 97 % of those tried in a quarter of cases
LEAST_COVERED, MOST_COVERED = 0.93, 0.97  # DESIGN.md section 6
MOST_LEVEL = 0.985  # beyond it the outsider that is modelled is misled by the chart: a better one is left less
TURNS = 72  # fewer blur what he sees
_LIMITS = {
    "low_km2": (0.0, 6e8), "level": (0.0, 1.0), "covered": (0.0, 1.0), "sites": (0, 10**6), "turns": (0, 10**4),
    "seed": (0, 2**63), "floor_km2": (0.0, 6e8), "promise_km2": (0.0, 6e8), "wall_s": (0.0, 4e9),
}  # fmt: skip
HOW = "run `offing audit --for {}`"


@dataclass(frozen=True, slots=True, kw_only=True)
class Audited:
    """What an audit found of one audience's policy.

    `low_km2`: the 5th percentile of RSA95 over `sites` random places of the area, km2. `level`: the mass of the
    posterior that is a 95 % region; `covered`: the share of fresh places of a known `seabed` (in words) that lay in it.
    `dive`: which was tried, in words, and the SHA-256 of its recording (empty: none). `floor_km2`: what the ship's own
    track leaves by itself; None where none is named, or she never lay still for so long.
    """

    audience: str
    low_km2: float
    level: float
    covered: float
    sites: int
    turns: int
    seed: int
    dive: str
    dive_sha256: str
    seabed: str
    floor_km2: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A result as it is kept: what was audited (digests), what was found, when (Unix seconds, UTC) and by whom."""

    found: Audited
    policy: str
    charts: tuple[str, ...]
    ship_track: str
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


@dataclass(frozen=True, slots=True)
class Digests:
    """The SHA-256 of each chart of an expedition file, and of the ship's track (empty: none)."""

    charts: tuple[str, ...]
    ship_track: str


def digests_of(expedition: Expedition) -> Digests:
    """Return those of the files as they are now; OperatorError where one can't be read."""
    track = expedition.audit.ship_track
    charts = tuple(map(chart_digest, expedition.audit.charts))
    return Digests(charts, "" if track is None else chart_digest(track, "ship's track"))


def chart_digest(path: Path, kind: str = "chart") -> str:
    """Return the SHA-256 of a chart's file; OperatorError where it can't be read."""
    digest = sha256()
    try:
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                digest.update(block)
    except OSError as error:
        raise OperatorError(f"the {kind} {path} can't be read ({error.strerror}): put it there") from error
    return digest.hexdigest()


def write_passed(
    expedition: Expedition, found: Sequence[Audited], *, audited: Digests, who: str, wall_s: float
) -> list[str]:
    """Keep what an audit found of audiences of this expedition; return for each, in words, whether it has passed.

    `audited`: of the files, from before they were read. OperatorError where an audience has no promise, a file can't be
    read or is another by now, or the result can't be written.
    """
    kept = read_results(expedition.private)
    if digests_of(expedition) != audited:
        raise OperatorError(
            "a chart or the ship's track was changed while it was audited: nothing is kept; audit again"
        )
    for one in found:
        policy = _policy(expedition, one.audience)
        kept[one.audience] = Kept(
            found=one,
            policy=policy_digest(policy, expedition.plan),
            charts=audited.charts,
            ship_track=audited.ship_track,
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
    """Return what is kept, by audience; OperatorError where the file isn't one, or isn't this user's alone."""
    path = private / NAME
    try:
        text = _own_text(path)
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise OperatorError(f"{path} can't be read: take it away, and {HOW.format('EXPEDITION.toml')}") from error
    try:
        return {name: _read(name, value) for name, value in json.loads(text)["audiences"].items()}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise OperatorError(f"{path} is no audit's result: take it away, and audit again") from error


def _own_text(path: Path) -> str:
    """Return the text of a file that is one, this user's, and closed to others: no link, pipe or device."""
    descriptor = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    with os.fdopen(descriptor, encoding="utf-8") as file:
        found = os.fstat(descriptor)
        mode = stat.S_IMODE(found.st_mode)
        if not stat.S_ISREG(found.st_mode) or found.st_uid != os.geteuid():
            raise OperatorError(f"{path} isn't this user's own file: take it away, and audit again")
        if mode & 0o077:
            raise OperatorError(f"{path} is open to others (mode {mode:o}). Run: chmod 600 {path}")
        return file.read()


def _read(name: str, value: dict[str, Any]) -> Kept:
    found = Audited(**value["found"])
    kept = Kept(**{**value, "found": found, "charts": tuple(value["charts"])})
    told = {**asdict(kept), **asdict(found)}
    texts = [kept.policy, kept.ship_track, kept.who, found.dive, found.dive_sha256, found.seabed, *kept.charts]
    if found.audience != name or not all(isinstance(text, str) for text in texts):
        raise ValueError("a text is none")
    for key, (least, most) in _LIMITS.items():
        number = told[key]
        if key == "floor_km2" and number is None:
            continue
        kinds = int if isinstance(least, int) else (int, float)
        if isinstance(number, bool) or not isinstance(number, kinds) or not least <= number <= most:
            raise ValueError(f"{key} is out of range")
    return kept


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
    now, fault = _now(expedition)
    out: dict[str, str | None] = {}
    for audience, promise_km2 in expedition.audit.promises.items():
        faults = [fault] if fault else list(_faults(expedition, audience, promise_km2, kept.get(audience), now))
        out[audience] = next(iter(faults), None)
    return out


def _now(expedition: Expedition) -> tuple[Digests, str | None]:
    try:
        return digests_of(expedition), None
    except OperatorError as error:
        return Digests((), ""), str(error)


def _faults(
    expedition: Expedition, audience: str, promise_km2: float, kept: Kept | None, now: Digests
) -> Iterator[str]:
    again = HOW.format(expedition.path)
    if kept is None:
        yield f"it was never audited: {again}"
        return
    if kept.policy != policy_digest(_policy(expedition, audience), expedition.plan):
        yield f"its policy, the area or a zone was changed since it was audited {_when(kept)}: {again}"
    if kept.charts != now.charts:
        yield f"the charts are others than those it was audited with {_when(kept)}: {again}"
    if kept.ship_track != now.ship_track:
        yield f"the ship's track is another than that it was audited with {_when(kept)}: {again}"
    if (fault := _fault_of(kept.found, promise_km2)) is not None:
        yield f"the audit {_when(kept)} was not passed: {fault}"


def _fault_of(found: Audited, promise_km2: float) -> str | None:
    """Return why a result doesn't keep a promise."""
    if found.sites < LEAST_SITES:
        return f"it tried {found.sites} places, too few to tell: try {LEAST_SITES} or more"
    if found.turns < TURNS:
        return f"it tried {found.turns} turns of the dive, and an outsider tries more: try {TURNS} (--turns)"
    if not LEAST_COVERED <= found.covered <= MOST_COVERED:
        return (
            f"its 95 % region held the true place in {100 * found.covered:.0f} % of trials, so its areas are no "
            "measure: try more places, or give a finer chart as the known seabed (--seabed)"
        )
    if not found.level <= MOST_LEVEL:
        return (
            "the chart misleads the outsider that is modelled, so that a better one is left less than its areas say: "
            "give a chart that fits the seabed better, or a finer one as the known seabed (--seabed)"
        )
    if found.floor_km2 is not None and not found.floor_km2 >= promise_km2:
        return (
            f"the ship's track alone leaves {say_area(found.floor_km2)}, and {say_area(promise_km2)} are promised: no "
            "policy leaves more; promise less"
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
    return f"on {datetime.fromtimestamp(kept.wall_s, UTC):%Y-%m-%d} by {printable(kept.who)}"


def passed_words(expedition: Expedition, audience: str, why: str | None) -> str:
    """Return a line for `offing check`: what is promised, by what it is measured, and how the audit stands."""
    promise = say_area(expedition.audit.promises[audience])
    charts = ", ".join(path.name for path in expedition.audit.charts)
    told = f"  Promise: by its depths on {charts}, an outsider is left {promise} or more to search"
    if why is not None:
        return f"{told}. It DOESN'T START: {why}"
    kept = read_results(expedition.private)[audience]
    alone = "the chart match alone" if kept.found.floor_km2 is None else "the chart match and the ship's track alone"
    return (
        f"{told}; audited {_when(kept)}: {say_area(kept.found.low_km2)} or more at 19 places in 20, less at the "
        f"twentieth, by {alone}, of {printable(kept.found.dive)}"
    )
