"""Running a ship: which audiences exist on its public site."""

from pathlib import Path

import pytest

from expeditions import RIGHT, changed
from relay.shell.plan.expedition import parse_expedition
from relay.shell.ship.running import new_site


@pytest.mark.parametrize(
    ("text", "there"),
    [
        (RIGHT, {"public"}),
        (changed("\nopen = true", ""), set()),
        (changed('name = "family"', 'name = "family"\nopen = true'), {"public", "family"}),
    ],
)
async def test_site_has_the_open_audiences_alone(text: str, there: set[str], tmp_path: Path) -> None:
    """An audience that the file doesn't call open isn't on the site at all, though it has a policy."""
    expedition = parse_expedition(text, tmp_path / "EXPEDITION.toml")
    names = [policy.audience for policy in expedition.plan.policies]
    assert names == ["public", "family"]
    site = new_site(expedition)
    assert {name for name in names if site.history(name) is not None} == there
