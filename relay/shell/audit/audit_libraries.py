"""Whether what the audit needs is installed: the extra `audit`, which a ship that makes no promise does without."""

from collections.abc import Callable
from importlib.util import find_spec

from relay.core.errors import OperatorError

NEEDED = ("numpy", "scipy", "h5netcdf", "h5py", "matplotlib")


def need_libraries(found: Callable[[str], object | None] = find_spec) -> None:
    """Raise OperatorError that says what to install if anything of the extra is missing."""
    missing = [name for name in NEEDED if found(name) is None]
    if missing:
        raise OperatorError(
            f"The audit needs {', '.join(missing)}, which isn't installed here: install the extra, "
            "pip install --require-hashes -r requirements.lock -r requirements-audit.lock"
        )
