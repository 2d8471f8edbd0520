"""Write tests/vectors/signed.json: frames as the relay signs them, for the page that checks them.

Run after a change of the wire or of what is signed: python tests/make_signed_vectors.py. `test_signed_vectors.py`
holds the file to the relay.
"""

import json
from pathlib import Path

import released
from dives import SIGNER, plan, policy, sealed
from make_wire_vectors import records
from relay.core.disclosure import Report
from relay.core.release import ReleaseLog
from relay.core.seal import Signer
from relay.core.wire import encode

PATH = Path(__file__).parent / "vectors" / "signed.json"
STRANGER = Signer(bytes(range(1, 33)))


def strangers_dive() -> list[bytes]:
    """Return a dive as somebody else than the ship signs it, with a key of their own in its first record."""
    log = ReleaseLog(policy(), plan(), 1, 0, STRANGER.key)
    silent = Report(heard=False)
    made = [log.open(0), log.tick(0, [silent, silent]), log.end(2_000_000)]
    return [STRANGER.seal("public", encode(record)) for record in made]


def vectors() -> dict[str, object]:
    """Return the content of the vector file."""
    frames = {
        "every_kind": [sealed(record) for record in records()],
        "dive": [frame.data for frame in released.dive(1, 5)],
        "next_dive": [frame.data for frame in released.dive(2, 3)],
        "funders": [frame.data for frame in released.dive(1, 5, audience="funders")],
        "stranger": strangers_dive(),
        "programme": [
            released.programme(number, "The boiler is next.", "The bow", "The stern", left_s=10_800, dive=2).data
            for number in (3, 4)
        ],
    }
    return {
        "provenance": "made by tests/make_signed_vectors.py by the relay's own signer (Ed25519, library cryptography)",
        "key": SIGNER.key.hex(),
        "strangers_key": STRANGER.key.hex(),
        **{name: [frame.hex() for frame in several] for name, several in frames.items()},
    }


if __name__ == "__main__":
    PATH.write_text(json.dumps(vectors(), indent=1) + "\n")
