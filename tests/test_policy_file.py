"""An expedition file's policy rewritten: what was asked for, and not a letter more.

Outside reference: Python's own TOML reader says what stands in the file.
"""

import stat
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from expeditions import RIGHT, changed
from relay.audit.advising.settings import Lattice, applied, settings_of
from relay.core.errors import OperatorError
from relay.core.policy import Policy
from relay.shell.audit.advised_keys import changed_keys
from relay.shell.audit.policy_file import difference, with_settings, write_over
from relay.shell.plan.expedition import parse_expedition

PATH = Path("expedition.toml")
ODD = changed('cell = "25 m"', 'cell = "25 m"  # as fine as the "cells" of last year # really').replace(
    'fields = ["track", "depth", "heading", "mode", "notes"]',
    'fields = [\n  "track", # the plan\n  "depth", "heading", "mode",\n  "notes",\n]  # no stills',
)
LATTICE = Lattice(
    tick_s=(60, 15), cell_m=(100.0, 5.0), depth_step_m=(None, 50.0, 10.0, 0.5), descent_step_m=(None, 10.0),
    radius_m=(500.0, None),
)  # fmt: skip


def _policies(text: str) -> tuple[Policy, ...]:
    return parse_expedition(text, PATH).plan.policies


def _policy(text: str) -> Policy:
    return _policies(text)[0]


def test_value_changes_and_remarks_stay() -> None:
    """The key keeps its line and the remark behind it; everything else is the same, letter by letter."""
    after = with_settings(ODD, 0, {"cell": '"5 m"'})
    assert 'cell = "5 m"  # as fine as the "cells" of last year # really' in after.splitlines()
    before = [line for line in ODD.splitlines() if not line.startswith("cell")]
    assert before == [line for line in after.splitlines() if not line.startswith("cell")]
    assert after.endswith("\n")


def test_list_over_several_lines_becomes_one() -> None:
    """Its inner remarks come before it, the last stays behind it."""
    after = with_settings(ODD, 0, {"fields": '["track", "notes"]'})
    at = after.splitlines().index("# the plan")
    assert after.splitlines()[at + 1] == 'fields = ["track", "notes"]  # no stills'
    assert tomllib.loads(after)["audience"][0]["fields"] == ["track", "notes"]


def test_new_key_follows_the_last_of_its_audience() -> None:
    """It lands in its own audience, not in the next, and behind a list that takes several lines."""
    text = ODD.replace('track_legs = ["bottom"]', 'track_legs = [\n  "bottom",\n]')
    after = with_settings(text, 0, {"radius": '"500 m"'})
    first, second = tomllib.loads(after)["audience"]
    assert first["radius"] == "500 m" and "radius" not in second
    after = with_settings(text, 1, {"radius": '"500 m"'})
    assert "radius" not in tomllib.loads(after)["audience"][0]
    assert tomllib.loads(after)["audience"][1]["radius"] == "500 m"


def test_key_that_goes_becomes_a_remark() -> None:
    """Nothing is lost: what it said can be read, and no longer counts."""
    after = with_settings(ODD, 0, {"cell": None, "radius": None})
    assert '# cell = "25 m"  # as fine' in after
    assert "cell" not in tomllib.loads(after)["audience"][0]


@pytest.mark.parametrize("preset", [None, "public", "funders"])
def test_settings_written_are_the_settings_read(preset: str | None) -> None:
    """Each settings of a lattice, written into a file, is what the file then means; only what differs is named."""
    text = RIGHT.replace('name = "public"', f'name = "public"\npreset = "{preset}"') if preset else RIGHT
    if preset:
        text = text.replace('fields = ["track", "depth", "heading", "mode", "notes"]\n', "")
        text = text.replace('cell = "25 m"\ndepth_step = "10 m"\n', "")
    policy, other = _policies(text)
    own = tomllib.loads(text)["audience"][0]
    for settings in LATTICE.settings_for(policy):
        wanted = applied(settings, policy)
        keys = changed_keys(policy, wanted, own)
        found, beside = _policies(with_settings(text, 0, keys))
        assert settings_of(found).ranks == settings.ranks, (settings, keys)
        assert found.fields == wanted.fields
        assert replace(found, **_settable(policy)) == replace(policy, **_settable(policy))
        assert beside == other


def _settable(policy: Policy) -> dict[str, object]:
    """Return the parts of a policy that settings change."""
    names = "tick_us cell_m depth_step_m depth_relative descent_step_m track_legs radius_m fields".split()
    return {name: getattr(policy, name) for name in names}


def test_settings_that_are_there_already_change_nothing() -> None:
    """A file that has the settings stays byte for byte."""
    policy = _policy(ODD)
    keys = changed_keys(policy, applied(settings_of(policy), policy), tomllib.loads(ODD)["audience"][0])
    assert keys == {} and with_settings(ODD, 0, keys) == ODD


def test_file_is_written_after_a_copy(tmp_path: Path) -> None:
    """The copy has what was there, the file what is new, both with the file's mode; a second copy has its own name."""
    path = tmp_path / "expedition.toml"
    path.write_text("before\n")
    path.chmod(0o600)
    copy = write_over(path, "after\n")
    assert (copy.name, copy.read_text(), path.read_text()) == ("expedition.toml.before", "before\n", "after\n")
    assert stat.S_IMODE(path.stat().st_mode) == stat.S_IMODE(copy.stat().st_mode) == 0o600
    assert write_over(path, "again\n").name == "expedition.toml.before-2"
    assert sorted(item.name for item in tmp_path.iterdir()) == [
        "expedition.toml", "expedition.toml.before", "expedition.toml.before-2",
    ]  # fmt: skip


def test_file_that_cannot_be_written_is_as_it_was(tmp_path: Path) -> None:
    """A folder that is not there, or anything else in the way, is said, with the file's name."""
    path = tmp_path / "gone" / "expedition.toml"
    with pytest.raises(OperatorError, match="can't be written"):
        write_over(path, "after\n")


def test_difference_names_what_changed() -> None:
    """Lines that went and lines that came, under the file's name."""
    told = difference("a\nb\n", "a\nc\n", PATH)
    assert "-b" in told.splitlines() and "+c" in told.splitlines() and "expedition.toml" in told
