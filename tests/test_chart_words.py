"""Names of columns and variables, and which way values count."""

import numpy as np
import pytest

from relay.audit.charts.chart_words import upward, word_and_unit
from relay.core.errors import ChartError


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        ("depth_m", ("depth", "m")),
        ("Depth (m)", ("depth", "m")),
        ("elevation [ft]", ("elevation", "ft")),
        (" Latitude ", ("latitude", "")),
        ("lat_deg", ("lat", "deg")),
        ("lon (degrees_east)", ("lon", "degrees_east")),
        ("salinity", ("", "salinity")),
    ],
)
def test_a_head_is_a_word_and_a_unit(head: str, expected: tuple[str, str]) -> None:
    """The longest known word at the beginning, and what follows it."""
    assert expected == word_and_unit(head)


def test_values_alone_tell_the_sign_only_where_they_can() -> None:
    """All at or above nought are depths, something below -20 makes elevations, between them nobody knows."""
    assert upward("c", np.array([0.0, 5.0, np.nan])) == -1
    assert upward("c", np.array([-20.1, 5.0])) == 1
    with pytest.raises(ChartError, match="not said"):
        upward("c", np.array([-20.0, 5.0]))
