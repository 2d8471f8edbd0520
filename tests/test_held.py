"""How far a shore holds an audience: gapless position, programme, and a digest by `hashlib` of the standard library."""

from hashlib import sha256

from relay.core.held import held_of
from relay.core.history import History, received
from relay.core.uplink_talk import Held
from released import dive, programme


def test_held_is_the_newest_record_the_programme_and_the_digest_of_the_newest_dive() -> None:
    """Nothing at first; then what came last, and SHA-256 of that dive's frames joined."""
    history = History("public")
    assert held_of(history) == Held(0, -1, -1, sha256(b"").digest())
    history.post(programme(4, "Soon."))
    assert held_of(history) == Held(0, -1, 4, sha256(b"").digest())
    for frame in [*dive(1, 3), *(second := dive(2, 2, closed=False))]:
        history.append(received("public", frame.data))
    assert held_of(history) == Held(2, 2, 4, sha256(b"".join(frame.data for frame in second)).digest())
