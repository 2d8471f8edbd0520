"""The dive that `offing advise` tries, from a file: a recording, or the journal of a dive run through the relay.

Rules: of a journal what is exact is used for its shape alone, in a folder of this user's that is removed at once;
nothing of it is printed.
"""

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from relay.audit.advising.journey import Journey, invented_journey, journey_of
from relay.core.errors import OperatorError
from relay.core.policy import MICROSECONDS, Disclosed, Leg, Plan, Policy
from relay.core.wire import Recording
from relay.shell.plan.expedition import Expedition
from relay.shell.record.secrets_file import seeded_secrets
from relay.shell.released.recording import load_signed
from relay.shell.ship.rehearse import rehearse

_FINE = Policy(
    audience="advise",
    delay_us=0,
    extra_us=0,
    tick_us=5 * MICROSECONDS,
    fields=frozenset({Disclosed.TRACK, Disclosed.DEPTH, Disclosed.ALTITUDE, Disclosed.LEG}),
    cell_m=1.0,
    depth_step_m=1.0,
    track_legs=frozenset({Leg.BOTTOM}),
)


def read_dive(path: Path | None, expedition: Expedition) -> Journey:
    """Return the dive in a file, or the invented one; OperatorError says what is wrong with it."""
    if path is None:
        return invented_journey()
    recording = _rehearsed(path, expedition.plan) if path.suffix == ".db" else load_signed(path)
    last = ""
    for vehicle in range(len(recording.header["vehicles"])):
        try:
            return journey_of(str(path), recording.header, recording.records, vehicle)
        except ValueError as error:
            last = str(error)
    raise OperatorError(f"--dive: {last}")


def _rehearsed(path: Path, plan: Plan) -> Recording:
    """Return the longest dive of a journal, as finely as it takes to know its shape."""
    fine = replace(plan, policies=(_FINE,), area=None, zones=())
    with TemporaryDirectory() as folder:
        out = Path(folder) / "out"
        rehearse(fine, seeded_secrets(1).for_rehearsal(), [str(path)], out)
        found = [load_signed(file) for file in sorted((out / "released" / _FINE.audience).glob("dive-*.recording"))]
    if not found:
        raise OperatorError(f"--dive {path}: no dive began in it; name a recording, or leave --dive out")
    return max(found, key=lambda recording: len(recording.records))
