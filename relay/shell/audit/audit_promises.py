"""`offing audit --for`: whether the promises of an expedition file are kept, tried at random places; kept for the gate.

Rules (R4): what is tried is each audience's policy itself, on the file's own charts, cell by cell, in its own area,
over places drawn from `--seed` alone; the dive is that of the recording given, or the invented one. Nothing may be
given that loosens it. A result that has not passed is kept as well, in place of one that had.
"""

import argparse
import time
from getpass import getuser

from relay.audit.advising.advise import audit
from relay.audit.advising.sites import NoRoomForDiveError
from relay.audit.attacks.attack import Progress
from relay.core.errors import OperatorError
from relay.shell.audit.advise_run import ground_of, result_of, seabed_of
from relay.shell.plan.expedition import Expedition
from relay.shell.ship.audit_result import TURNS, digests_of, write_passed


def with_files_of(options: argparse.Namespace, expedition: Expedition) -> argparse.Namespace:
    """Return options with the charts, the ship's track and the wrecks that the expedition file names.

    OperatorError where it names no charts, or others were given: a result counts for the file's own.
    """
    files = expedition.audit
    if not files.charts:
        raise OperatorError(f'{expedition.path} names no charts to audit with: add [audit] with charts = ["chart.nc"]')
    if options.chart and {path.resolve() for path in options.chart} != set(files.charts):
        raise OperatorError(f"--chart: a result is kept for the charts of {expedition.path}: leave --chart out")
    track, wrecks = options.ship_track or files.ship_track, options.wrecks or files.wrecks
    return argparse.Namespace(**{**vars(options), "chart": list(files.charts), "ship_track": track, "wrecks": wrecks})


def audit_promises(options: argparse.Namespace, expedition: Expedition, progress: Progress) -> list[str]:
    """Audit each audience with a promise, keep the results, and return in words how each fared."""
    promised = [policy for policy in expedition.plan.policies if policy.audience in expedition.audit.promises]
    if not promised:
        raise OperatorError(f'{expedition.path}: no audience has a promise: add one to it, such as promise = "87 km2"')
    _check(options)
    asked = argparse.Namespace(dive=next(iter(options.recordings), None), turns=TURNS, seed=options.seed)
    files = digests_of(expedition)
    seabed = seabed_of(options.chart, options.seabed, 1.0, options.seed)
    ground, _ = ground_of(asked, expedition, seabed)
    found = []
    for policy in promised:
        promise_km2 = expedition.audit.promises[policy.audience]
        try:
            kept = audit(ground, policy, promise_km2, range(options.trials), None, progress)
        except NoRoomForDiveError as error:
            raise OperatorError(str(error)) from error
        found.append(result_of(asked, expedition, ground, policy.audience, kept, seabed.words))
    return write_passed(expedition, found, audited=files, who=getuser(), wall_s=time.time())


def _check(options: argparse.Namespace) -> None:
    """Refuse what would make the outsider see less than he does, and dives that would not be tried."""
    if options.turns != TURNS:
        raise OperatorError(f"--turns: a result that is kept is found with {TURNS} turns: leave --turns out")
    if options.chart_error != 1.0:
        raise OperatorError("--chart-error: a result that is kept takes the chart as it is: leave --chart-error out")
    if len(options.recordings) > 1 or any(path.is_dir() for path in options.recordings):
        raise OperatorError(
            "--for tries one dive, and several recordings or a folder were given: name the recording that tells most, "
            "or none for the invented dive; play all of them with `offing audit RECORDING... --area EXPEDITION.toml`"
        )
