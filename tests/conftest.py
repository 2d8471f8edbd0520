"""What all tests share: the published data beside the project, and how hypothesis runs."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

# A slow moment of a shared machine is no fault of the code, and a failure elsewhere must be repeatable here.
settings.register_profile("offing", deadline=None, print_blob=True)
settings.load_profile("offing")


@pytest.fixture
def shared_data() -> Path:
    """Return the folder of published data beside the project; skip where it is absent, unless it is required."""
    folder = Path(__file__).resolve().parents[2] / "shared" / "data"
    if not folder.is_dir():
        reason = "the published test data is not beside the project"
        if os.environ.get("OFFING_REQUIRE_DATA") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    return folder
