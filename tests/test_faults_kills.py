"""The short version of the kills, whose long one is `make faults`: the same program, six kills."""

from pathlib import Path

import pytest

import faults_kills
from forked_relays import Relays
from left_behind import RECEIPTS, noted
from peers import until


@pytest.mark.slow
def test_killed_ship_shore_and_uplink_keep_the_rules(tmp_path: Path) -> None:
    """kill -9 of ship, shore and uplink at random moments and octets: R1 to R6 hold over all that there was."""
    outcome = faults_kills.run(6, 4, tmp_path)
    assert outcome.wrong == []
    assert outcome.tried == 6
    received = {path.stem: len(noted(path)) for path in (tmp_path / RECEIPTS).glob("*.msgpack")}
    assert len(received) == 6 and min(received.values()) >= 1 and max(received.values()) > 5


async def test_killed_process_is_known_to_be_gone(tmp_path: Path) -> None:
    """A process that was forked says what it is asked for, and is gone for certain when it was killed."""
    relays = Relays(tmp_path)
    try:
        said = relays.start("help", "--help")
        await said.ended()
        assert "offing" in (tmp_path / "help.out").read_text()
        wrong = relays.start("wrong", "check", str(tmp_path / "nothing.toml"))
        await until(lambda: not wrong.lives)
        assert "nothing.toml" in (tmp_path / "wrong.log").read_text()
    finally:
        relays.end()
