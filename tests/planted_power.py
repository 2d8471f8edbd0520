"""A careless relay under power cuts: its journal asks the disk to sync nothing. `faults_power.py` must find it."""

from pathlib import Path
from typing import Any

from failing_disk import share_of
from faults_power import serve
from relay.shell.record.journal import JournalFile

_opened = JournalFile.__init__


def careless(self: JournalFile, folder: Path, **more: Any) -> None:
    """Open a journal that syncs nothing (SQLite, "PRAGMA synchronous")."""
    _opened(self, folder, **more)
    self._db.execute("PRAGMA synchronous=OFF")


if __name__ == "__main__":
    JournalFile.__init__ = careless  # type: ignore[method-assign]
    serve(share_of())
