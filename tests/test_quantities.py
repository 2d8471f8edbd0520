"""Quantities as people write them."""

import pytest

from relay.shell.plan.quantities import angle_deg, duration_us, length_m, say_duration


@pytest.mark.parametrize(
    ("text", "microseconds"),
    [("45 min", 2_700_000_000), ("20s", 20_000_000), ("1.5 h", 5_400_000_000), ("250 ms", 250_000), ("0 s", 0)],
)
def test_duration_is_read_in_its_unit(text: str, microseconds: int) -> None:
    """Hours, minutes, seconds, milliseconds."""
    assert duration_us(text) == microseconds


@pytest.mark.parametrize("text", ["", "45", "min", "45 minutes", "-1 s", "1e3 s", "4 5 s", "nan s", 45, None, True])
def test_duration_that_is_not_one_says_how_to_write_it(text: object) -> None:
    """Everything else is refused with an example."""
    with pytest.raises(ValueError, match='write it as "45 min"'):
        duration_us(text)


def test_length_in_feet_agrees_with_the_trade() -> None:
    """A tether of 1,000 m is spoken of as 3,300 ft (common practice, no source): to the nearest 100 ft."""
    assert round(1_000 / length_m("1 ft"), -2) == 3_300
    assert length_m("3300 ft") == pytest.approx(1_005.84)
    assert length_m("0.5 km") == 500.0
    assert angle_deg("22.5°") == 22.5


def test_durations_are_said_in_words() -> None:
    """Whole units, none that are zero."""
    said = [say_duration(seconds * 1_000_000) for seconds in (0, 20, 2_700, 5_400, 3_661)]
    assert said == ["0 s", "20 s", "45 min", "1 h 30 min", "1 h 1 min 1 s"]
