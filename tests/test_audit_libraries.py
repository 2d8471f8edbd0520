"""Without the extra the audit says what to install; with it, it says nothing."""

import pytest

from relay.core.errors import OperatorError
from relay.shell.audit.audit_libraries import NEEDED, need_libraries


def test_missing_libraries_are_named_with_the_remedy() -> None:
    """Each that is missing, and the one command that brings them all."""
    with pytest.raises(
        OperatorError, match=r"needs scipy, matplotlib, .*pip install --require-hashes .* -r requirements-audit\.lock"
    ):
        need_libraries(lambda name: None if name in ("scipy", "matplotlib") else object())


def test_installed_libraries_are_found() -> None:
    """As where the tests run."""
    need_libraries()
    assert {"numpy", "scipy", "matplotlib", "h5netcdf", "h5py"} == set(NEEDED)
