"""The program that lets a shore's disk fail, in short."""

from pathlib import Path

import pytest

import faults_shore


@pytest.mark.slow
def test_faults_of_a_shores_disk_lose_nothing_that_it_held(quick_folder: Path) -> None:
    """Calls fail and power goes: what counted as held is there, and the day ends with files as the ship signed them."""
    outcome = faults_shore.run(3, 5, quick_folder)
    assert outcome.wrong == []
    assert outcome.tried > 100
