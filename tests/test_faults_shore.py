"""The program that lets a shore's disk fail, in short."""

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

import faults_shore

_MEMORY = Path("/dev/shm")


@pytest.fixture
def quick_folder(tmp_path: Path) -> Iterator[Path]:
    """Yield a folder in memory where there is one: what power leaves is the model's to say, and no real sync's."""
    if not _MEMORY.is_dir():
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=_MEMORY) as folder:
        yield Path(folder)


@pytest.mark.slow
def test_faults_of_a_shores_disk_lose_nothing_that_it_held(quick_folder: Path) -> None:
    """Calls fail and power goes: what counted as held is there, and the day ends with files as the ship signed them."""
    outcome = faults_shore.run(3, 5, quick_folder)
    assert outcome.wrong == []
    assert outcome.tried > 100
