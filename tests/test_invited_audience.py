"""An audience that is shown by invitation: what the expedition file takes, and what is said of it."""

from pathlib import Path

import pytest

from expeditions import RIGHT, changed
from relay.core.errors import ExpeditionError
from relay.shell.plan.expedition import Expedition, parse_expedition
from relay.shell.plan.plain_cautions import cautions
from relay.shell.plan.plain_words import describe_audience

PATH = Path("/somewhere/EXPEDITION.toml")
FAMILY = 'name = "family"'


def invited(more: str = "") -> Expedition:
    """Return an expedition whose second audience is invited."""
    return parse_expedition(changed(FAMILY, f"{FAMILY}\ninvited = true\n{more}"), PATH)


def test_invited_audience_is_not_an_open_one() -> None:
    """It is named among the invited alone, and by default no audience is."""
    assert invited().invited_audiences == {"family"}
    assert invited().open_audiences == {"public"}
    assert parse_expedition(RIGHT, PATH).invited_audiences == frozenset()


@pytest.mark.parametrize(
    ("more", "key", "remedy"),
    [
        ("open = true", "invited", "take invited = true away, or open = true"),
        ('place = "exact"', "place", 'take invited = true away, or set place = "local"'),
        ('text = "unchecked"', "text", 'take text = "unchecked" or invited = true away'),
        ('preset = "heritage"', "place", "take invited = true away"),
    ],
)
def test_invited_audience_that_would_show_too_much_stops_the_start(more: str, key: str, remedy: str) -> None:
    """What is for trusted hands alone can't be had by a link; the fault names the key and the way out (R4)."""
    with pytest.raises(ExpeditionError) as caught:
        invited(more)
    assert any(line.partition(": ")[2] and key in line and remedy in line for line in str(caught.value).splitlines())


def test_invited_audience_needs_a_delay() -> None:
    """Without one, whoever has a link and sees the ship knows the place."""
    text = changed(FAMILY, f"{FAMILY}\ninvited = true").replace('delay = "20 min"', 'delay = "0 s"')
    with pytest.raises(ExpeditionError, match="an invited audience needs a delay"):
        parse_expedition(text, PATH)


def test_check_says_that_a_link_can_be_passed_on() -> None:
    """`offing check` says who sees an invited audience, and that the page has it for nobody else."""
    expedition = invited()
    _, family = expedition.plan.policies
    told = describe_audience(family, expedition.open_audiences, expedition.plan, expedition.invited_audiences)
    assert "A link can be passed on" in told
    assert "Who sees it is whom you hand those files to" not in told
    assert "an update every" in told


def test_cautions_for_an_invited_audience_are_those_for_an_open_one() -> None:
    """A link that was passed on makes a stranger of whoever has it."""
    text = changed(FAMILY, f"{FAMILY}\ninvited = true").replace('delay = "20 min"', 'delay = "1 min"')
    told = cautions(parse_expedition(text, PATH))
    assert any(words.startswith("family: ") and "short delay" in words for words in told)


@pytest.mark.parametrize("old", ["open = true", FAMILY])
def test_yes_in_quotes_is_none(old: str) -> None:
    """Whether an audience is open is never read from text."""
    text = changed(old, 'open = "true"' if old == "open = true" else f'{old}\nopen = "true"')
    with pytest.raises(ExpeditionError, match="must be true or false, without quotes"):
        parse_expedition(text, PATH)
