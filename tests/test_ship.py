"""The running relay: what it says when something is wrong."""

import logging
from pathlib import Path

import pytest

from expeditions import RIGHT
from peers import until
from relay.core.errors import OurFault
from relay.core.pipeline import Pipeline
from relay.shell.clock import MachineTime
from relay.shell.expedition import parse_expedition
from relay.shell.running import new_site
from relay.shell.ship import Ship


@pytest.mark.parametrize("fault", [ValueError, KeyError, ZeroDivisionError])
async def test_fault_that_quotes_a_position_is_told_by_its_kind_alone(
    fault: type[Exception], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Whatever breaks while rows are read stops the release; neither log nor alarm repeats its words (R1)."""

    def broken(*_: object) -> None:
        raise fault("Observation(latitude_deg=-38.61472, longitude_deg=-21.93306)")

    expedition = parse_expedition(RIGHT, tmp_path / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    with caplog.at_level(logging.DEBUG):
        await ship.start()
        monkeypatch.setattr(Pipeline, "receive", broken)
        ship.decide(b'{"do": "begin"}', "a test")
        await until(lambda: ship.stopped is not None)
        alarms = ship.alarms()
        await ship.close()
    said = caplog.text + "".join(alarms)
    assert fault.__name__ in said
    assert "38.6" not in said
    assert "21.9" not in said


async def test_fault_of_ours_with_words_of_its_own_says_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """A fault that Offing words itself is told whole: its words are written here and hold no value of the input."""

    def broken(*_: object) -> None:
        raise OurFault("two records of one number")

    expedition = parse_expedition(RIGHT, tmp_path / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    monkeypatch.setattr(Pipeline, "receive", broken)
    ship.decide(b'{"do": "begin"}', "a test")
    await until(lambda: ship.stopped is not None)
    await ship.close()
    assert "two records of one number" in caplog.text
    assert ship.stopped == "two records of one number"
