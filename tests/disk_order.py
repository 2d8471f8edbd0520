"""In which order a process has the disk take files, and their names."""

import os
from pathlib import Path

import pytest

NAMED = 0


def order_of(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Return a list that grows by the inode of each file or folder that is synced, and by `NAMED` for each rename."""
    order: list[int] = []
    sync, rename = os.fsync, os.replace

    def synced(descriptor: int) -> None:
        sync(descriptor)
        order.append(os.fstat(descriptor).st_ino)

    def renamed(one: Path, other: Path) -> None:
        rename(one, other)
        order.append(NAMED)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(os, "replace", renamed)
    return order
