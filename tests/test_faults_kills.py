"""The short version of the kills, whose long one is `make faults`: the same program, three kills."""

import os
import socket
from pathlib import Path

import pytest

import faults_kills
from forked_relays import Relays
from killed_people import Station
from killed_voyage import dialled_by
from left_behind import RECEIPTS, noted
from peers import until


@pytest.mark.slow
def test_killed_ship_shore_and_uplink_keep_the_rules(tmp_path: Path) -> None:
    """kill -9 of ship, shore and uplink at random moments and octets: R1 to R6 hold over all that there was."""
    outcome = faults_kills.run(3, 4, tmp_path)
    assert outcome.wrong == []
    assert outcome.tried == 3
    received = {path.stem: len(noted(path)) for path in (tmp_path / RECEIPTS).glob("*.msgpack")}
    assert len(received) == 10 and min(received.values()) >= 1 and max(received.values()) > 5


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


def test_connection_that_a_process_made_is_seen() -> None:
    """Of a process's connections those that it made itself are named, and none that it took, by the kernel's table."""
    with socket.create_server(("127.0.0.1", 0)) as door, socket.create_connection(door.getsockname()) as made:
        taken, _ = door.accept()
        with taken:
            port = door.getsockname()[1]
            assert f"127.0.0.1:{port}" in dialled_by(os.getpid(), {port})
            assert f"127.0.0.1:{port}" not in dialled_by(os.getpid(), {port, made.getsockname()[1]})
            assert f"127.0.0.1:{made.getsockname()[1]}" not in dialled_by(os.getpid(), {port})


def test_kill_takes_only_what_came_last_of_a_life() -> None:
    """What a station sent before something that is in the journal of the same life was accepted, and nothing else."""
    station = Station("Lantern", 1)
    station.lives = [[(1, b"a"), (2, b"b"), (3, b"c"), (4, b"d")], [(5, b"e")], [(6, b"f"), (7, b"g")]]
    assert station.accepted(b"ac g") == [(1, b"a"), (2, b"b"), (3, b"c"), (7, b"g")]
