"""`offing audit --for`: whether the promises of an expedition file are kept, tried at random places, kept for the gate.

Rules (R4): what is tried is each audience's policy itself, on the file's own charts and in its own area, over places
drawn from `--seed` alone; the dive is that of the first recording given, or the invented one. A result that has not
passed is kept as well, in place of one that had.
"""

import argparse
import time
from getpass import getuser

import numpy as np

from relay.audit.advise import audit
from relay.audit.attack import Progress
from relay.audit.error_law import learn
from relay.audit.sites import NoRoomForDiveError
from relay.audit.trial import Ground
from relay.core.errors import OperatorError
from relay.core.policy import Policy
from relay.shell.advise_run import ground_of
from relay.shell.audit_case import read_charts
from relay.shell.audit_result import Audited, write_passed
from relay.shell.expedition import Expedition


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
    dive = options.recordings[0] if options.recordings and options.recordings[0].is_file() else None
    asked = argparse.Namespace(dive=dive, turns=options.turns, seed=options.seed)
    chart = learn(read_charts(options.chart, options.chart_error), np.random.default_rng(options.seed))
    ground, _ = ground_of(asked, expedition, chart)
    found = []
    for at, policy in enumerate(promised):
        progress(f"trying the promise to {policy.audience} at random places", at / len(promised))
        found.append(_audited(ground, policy, expedition.audit.promises[policy.audience], options.trials))
    return write_passed(expedition, found, who=getuser(), wall_s=time.time())


def _audited(ground: Ground, policy: Policy, promise_km2: float, places: int) -> Audited:
    try:
        kept = audit(ground, policy, promise_km2, range(places))
    except NoRoomForDiveError as error:
        raise OperatorError(str(error)) from error
    calibration = kept.calibration
    assert calibration is not None, "an audit is calibrated where it is made"
    return Audited(
        audience=policy.audience,
        low_km2=kept.fifth_km2,
        level=calibration.level,
        covered=calibration.covered,
        sites=len(kept.left),
    )
