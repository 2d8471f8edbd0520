"""The journal's disk as the desk sees it: what is free, and when it is full at this pace."""

from pathlib import Path

import pytest

from relay.shell.desk.desk_disk import LEAST_S, Disk, Look


@pytest.mark.parametrize(("passed_s", "known"), [(LEAST_S - 1, False), (LEAST_S, True)])
def test_pace_is_told_when_it_is_known(passed_s: float, known: bool, tmp_path: Path) -> None:
    """By what was measured over a minute or more, and not before: 1,000 octets a second, 10^9 free."""
    disk = Disk(tmp_path, lambda: 0.0)
    assert (disk.last, disk.forecast()) == (None, None)
    disk.take(Look(0.0, 5_000, 10**9 + round(1_000 * passed_s)))
    disk.take(Look(passed_s, 5_000 + round(1_000 * passed_s), 10**9))
    forecast = disk.forecast()
    assert forecast is not None
    assert (forecast.fills_in_s is not None) == known
    if forecast.fills_in_s is not None:
        assert forecast.fills_in_s == pytest.approx(1e6)


async def test_disk_is_looked_at_where_the_journal_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The octets of all files of the journal, and of nothing else; a folder that is gone is said and stops nothing."""
    monkeypatch.setattr("relay.shell.desk.desk_disk.EVERY_S", 0.001)
    for name, octets in (("journal.db", 7_000), ("journal.db-wal", 500), ("recovered.db", 90_000)):
        (tmp_path / name).write_bytes(bytes(octets))
    disk = Disk(tmp_path, lambda: 3.0)
    await disk.beat()
    assert disk.last is not None
    assert (disk.last.at_s, disk.last.journal) == (3.0, 7_500)
    assert disk.last.free > 0
    gone = Disk(tmp_path / "gone", lambda: 3.0)
    await gone.beat()
    assert gone.last is None
