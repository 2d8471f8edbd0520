"""Whether true places stand in what was released: none in Offing's own, and found where a leak lets them in."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from dives import INVENTED_SITE, message, plan, policy, walk
from relay.audit.attacks.attack import Dive
from relay.core.errors import OperatorError
from relay.core.policy import Place, Plan
from relay.shell.audit.true_spellings import spelled_in
from relay.shell.record.secrets_file import seeded_secrets
from relay.shell.released.recording import load_recording
from relay.shell.ship.rehearse import rehearse


def released(folder: Path, expedition: Plan, note: str | None = None) -> Dive:
    """Return the public's recording of a walk; its journal lies below `folder` / out / private."""
    steps = enumerate(walk(120, seed=4))
    lines = [
        json.dumps({"t": at, **json.loads(message(step, INVENTED_SITE, note=note if at == 60 else None))})
        for at, step in steps
    ]
    (folder / "dive.jsonl").write_text("\n".join(lines) + "\n")
    rehearse(expedition, seeded_secrets(1), [str(folder / "dive.jsonl")], folder / "out")
    recording = load_recording(folder / "out/released/public/dive-001.recording")
    return Dive("dive-001.recording", recording.header, recording.records)


def test_sound_release_holds_no_true_place(tmp_path: Path) -> None:
    """Counter-test: none of the journal's fixes stands in the recording in any notation."""
    assert spelled_in(tmp_path / "out/private", plan(), [released(tmp_path, plan())]) == ()


def test_exact_places_are_found(tmp_path: Path) -> None:
    """Positive control: where exact places were released the journal's own numbers stand in the bytes."""
    exact = plan(policy(place=Place.EXACT, tick_us=1_000_000, delay_us=0, extra_us=0))
    found = spelled_in(tmp_path / "out/private", exact, [released(tmp_path, exact)])
    assert any("binary number" in words for words in found)
    assert not any(f"{abs(INVENTED_SITE[0]):.3f}"[:5] in words for words in found), "and the place isn't named"


def test_place_in_an_annotation_is_found(tmp_path: Path) -> None:
    """Positive control: an annotation that nobody read tells the place, and the text is quoted."""
    unread = plan(replace(policy(), check_text=False))
    dive = released(tmp_path, unread, "38°36.88'S 21°55.98'W")
    assert any("reads as a true place" in words for words in spelled_in(tmp_path / "out/private", unread, [dive]))


def test_what_is_no_journal_is_told(tmp_path: Path) -> None:
    """A path without a journal is refused with what to give."""
    with pytest.raises(OperatorError, match="journal"):
        spelled_in(tmp_path / "nothing", plan(), [])
