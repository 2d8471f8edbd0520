"""A journal decoded by processes of their own: the same reports, in bounded room, and nothing left running."""

import multiprocessing
import os
import signal
from pathlib import Path

import pytest

from exported_site import exported_site
from record_site import Site
from relay.core.errors import OperatorError
from relay.core.model import RowKind
from relay.core.own_time import LiveFeed
from relay.shell.exact.decoding import decoding, told_in
from relay.shell.record.journal import NAME

SHORT = "relay.shell.exact.decoding.SHORT_ROWS"


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """Return a site of two stations, NMEA 0183 and the ship's own feed."""
    return exported_site(tmp_path)


def test_processes_tell_what_one_tells(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Row by row, the same reports and counts as a decoder of each feed in this process has; then none is left."""
    plan = site.expedition.plan
    feeds = {source.name: (at, LiveFeed(source)) for at, source in enumerate(plan.sources)}
    monkeypatch.setattr(SHORT, 0)
    monkeypatch.setattr("relay.shell.exact.decoding._TOGETHER", 7)
    told = 0
    with decoding(plan, site.private / NAME, site.rows[-1].seq) as decode:
        assert len(multiprocessing.active_children()) == 2
        for row in site.rows:
            if row.kind is not RowKind.DECISION:
                at, feed = feeds[row.source]
                expected = told_in(feed, row)
                assert decode(row, at) == expected
                told += len(expected.reports)
    assert told > 100
    assert multiprocessing.active_children() == []


def test_export_is_the_same_by_processes(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is read of a site, report by report with where it came from, is the same either way."""
    with site.read() as dives:
        alone = [list(dives.record(vehicle)) for vehicle in site.expedition.plan.vehicles], list(dives.ship())
    monkeypatch.setattr(SHORT, 0)
    with site.read() as dives:
        assert alone == (
            [list(dives.record(vehicle)) for vehicle in site.expedition.plan.vehicles],
            list(dives.ship()),
        )


def test_process_that_is_gone_is_told(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Killed from outside, as where memory is short: what it was asked for ends with a word, not with less."""
    monkeypatch.setattr(SHORT, 0)
    monkeypatch.setattr("relay.shell.exact.decoding._TOGETHER", 1)
    row = next(row for row in site.rows if row.source == "main")
    with decoding(site.expedition.plan, site.private / NAME, site.rows[-1].seq) as decode:
        for process in multiprocessing.active_children():
            assert process.pid is not None
            os.kill(process.pid, signal.SIGKILL)
            process.join()
        with pytest.raises(OperatorError, match="ended too early"):
            _ = [decode(row, places(site)["main"]) for _ in site.rows * 2]
    assert multiprocessing.active_children() == []


def test_interrupt_is_its_beginners(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C reaches every process of a terminal: those that decode leave it to the one that began them."""
    monkeypatch.setattr(SHORT, 0)
    monkeypatch.setattr("relay.shell.exact.decoding._TOGETHER", 1)
    rows = [row for row in site.rows if row.kind is not RowKind.DECISION]
    with decoding(site.expedition.plan, site.private / NAME, site.rows[-1].seq) as decode:
        for row in rows[:10]:
            decode(row, places(site)[row.source])
        for process in multiprocessing.active_children():
            assert process.pid is not None
            os.kill(process.pid, signal.SIGINT)
        assert [decode(row, places(site)[row.source]) for row in rows[10:]]
    assert multiprocessing.active_children() == []


def test_only_rows_up_to_the_last_are_decoded(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a relay writes meanwhile isn't read: a process tells the rows up to the last one, and no more."""
    monkeypatch.setattr(SHORT, 0)
    rows, last = [row for row in site.rows if row.kind is not RowKind.DECISION], 20
    with decoding(site.expedition.plan, site.private / NAME, rows[last].seq) as decode:
        told = [decode(row, places(site)[row.source]) for row in rows[: last + 1]]
        assert sum(len(one.reports) for one in told) > 15
        with pytest.raises(OperatorError, match="ended too early"):
            decode(rows[last + 1], places(site)[rows[last + 1].source])


def places(site: Site) -> dict[str, int]:
    """Return the place of each feed in the plan."""
    return {source.name: at for at, source in enumerate(site.expedition.plan.sources)}
