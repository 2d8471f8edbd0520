"""A shore's relay as its file has it: site, logs, and what runs beside them, put together."""

from relay.core.errors import OperatorError
from relay.shell.shore import Shore
from relay.shell.shore_file import ShoreFile, StreamPlan
from relay.shell.shore_site import new_site
from relay.shell.workers import Workers


def new_shore(file: ShoreFile) -> Shore:
    """Return a shore that isn't started yet."""
    shore = Shore(file, new_site(file) if file.processes == 1 else Workers(file))
    if file.stream is not None:
        _join(shore, file.stream)
    return shore


def _join(shore: Shore, plan: StreamPlan) -> None:
    try:
        from relay.shell.shore_stream import join_stream
    except ModuleNotFoundError as error:
        raise OperatorError(
            f"[stream] needs the library {error.name}, which is installed with the extra `scale`: pip install "
            "'offing[scale]'"
        ) from error
    join_stream(shore, plan)
