"""Write recordings/demo-dive.recording: a whole invented dive as the demo's public audience would have got it.

Run after a change of the simulated dive, the wire or the policy: python tests/make_demo_recording.py. It is the dive
before the one that the demo joins (another seed), and lies in the same frame; the demo has its rows in its journal.
"""

from pathlib import Path

from relay.core.pipeline import Pipeline
from relay.core.seal import Signer
from relay.core.wire import encode, footer
from relay.shell.demo.demo import FIRST_SEED, expedition_text
from relay.shell.demo.demo_run import DEMO_SECRETS, FINISHED, FIRST_WALL_S, past_rows
from relay.shell.demo.simulated import simulate
from relay.shell.plan.expedition import parse_expedition
from relay.shell.record.secrets_file import seeded_secrets

PATH = Path(__file__).resolve().parent.parent / "recordings" / FINISHED


def recording(seed: int = FIRST_SEED) -> bytes:
    """Return the recording of a whole simulated dive."""
    plan = parse_expedition(expedition_text(port=1, nmea_port=2, station_port=3), Path("demo.toml")).plan
    secrets = seeded_secrets(DEMO_SECRETS)
    pipeline, signer = Pipeline(plan, secrets), Signer(secrets.signing_seed)
    due = [item for row in past_rows(simulate(seed), FIRST_WALL_S) for item in pipeline.receive(row)]
    while (moment := pipeline.next_us()) is not None:
        due += pipeline.advance(moment)
    frames = [signer.seal(item.record.audience, encode(item.record)) for item in due]
    return b"".join([*frames, footer(frames)])


if __name__ == "__main__":
    PATH.write_bytes(recording())
