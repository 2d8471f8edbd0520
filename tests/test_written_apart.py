"""An export written by a process of its own: the same file, its faults told here, and nothing left running."""

import errno
import multiprocessing
import os
import signal
import sqlite3
import tracemalloc
import zipfile
from array import array
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest

from exported_site import exported_site
from record_site import Site
from relay.core.errors import OperatorError
from relay.shell.exact.all_tables import Making, tables_of
from relay.shell.exact.csv_tables import write_csv
from relay.shell.exact.exact_dives import ExactDives
from relay.shell.exact.geojson import write_geojson
from relay.shell.exact.gpkg import write_gpkg
from relay.shell.exact.shapes import Shape, ShapeKind
from relay.shell.exact.tables import Choice, Table
from relay.shell.exact.written_apart import Write, write_apart

SHORT = "relay.shell.exact.written_apart.SHORT_ROWS"
MADE = datetime(2026, 11, 27, 12, 0, tzinfo=UTC)
TABLES = tables_of(Making("The search for the Isoline Marr", "Harrow Tern", "2026-11-27T12:00:00Z", "1.0"))


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """Return a site of two stations, NMEA 0183, the ship's own feed, targets and finds."""
    return exported_site(tmp_path)


def written(site: Site, write: Write, path: Path, told: list[tuple[str, int]] | None = None) -> dict[str, int]:
    """Write all tables to a file; return the counts."""
    heard = [] if told is None else told
    with site.read() as dives:
        return write_apart(
            write, path, TABLES, dives, Choice(), MADE, lambda title, count: heard.append((title, count))
        )


def content(path: Path) -> object:
    """Return all that a reader finds in an export."""
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as packed:
            return {name: packed.read(name) for name in packed.namelist()}
    database = sqlite3.connect(path)
    try:
        return list(database.iterdump())
    finally:
        database.close()


@pytest.mark.parametrize("write", [write_gpkg, write_csv, write_geojson], ids=lambda write: write.__name__)
def test_the_same_file(site: Site, write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Points, lines, areas and rows without a shape: each value is the same either way, and so are the counts."""
    here, apart = list[tuple[str, int]](), list[tuple[str, int]]()
    counts = written(site, write, tmp_path / "here", here)
    monkeypatch.setattr(SHORT, 0)
    monkeypatch.setattr("relay.shell.exact.written_apart.EVERY", 7)
    assert written(site, write, tmp_path / "apart", apart) == counts
    assert counts["fixes"] > 100 and counts["find_ellipses"] and counts["tracks"]
    assert content(tmp_path / "here") == content(tmp_path / "apart")
    assert dict.fromkeys(title for title, _ in here) == dict.fromkeys(title for title, _ in apart)
    assert multiprocessing.active_children() == []


@pytest.mark.parametrize(
    "fault",
    [
        OSError(errno.ENOSPC, "No space left on device"),
        sqlite3.OperationalError("disk is full"),
        OperatorError("no"),
        ValueError("our own fault"),
    ],
    ids=lambda fault: type(fault).__name__,
)
def test_its_faults_are_told_here(
    site: Site, fault: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the writer raises in its process is raised where it was asked for, in the same words, and says where."""
    monkeypatch.setattr(SHORT, 0)

    def failing(*_: object) -> dict[str, int]:
        raise fault

    with site.read() as dives, pytest.raises(type(fault)) as told:
        write_apart(failing, tmp_path / "out", TABLES, dives, Choice(), MADE, lambda title, count: None)
    assert str(told.value) == str(fault)
    assert "in failing" in "".join(told.value.__notes__)
    assert multiprocessing.active_children() == []


def test_writer_that_is_gone_is_told(site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Killed from outside, as where memory is short: it ends with a word, not with less."""
    monkeypatch.setattr(SHORT, 0)

    def killed(*_: object) -> dict[str, int]:
        os.kill(os.getpid(), signal.SIGKILL)
        return {}

    with pytest.raises(OperatorError, match="ended too early"):
        written(site, killed, tmp_path / "out")
    assert multiprocessing.active_children() == []


@pytest.mark.parametrize(
    "fault",
    [OperatorError("no room"), KeyboardInterrupt(), BrokenPipeError(errno.EPIPE, "nobody reads what is told")],
    ids=lambda fault: type(fault).__name__,
)
def test_a_fault_here_ends_it(
    site: Site, fault: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where this process gives up, for want of room, by the operator or a reader of its words, the other ends too."""
    monkeypatch.setattr(SHORT, 0)

    def giving_up(title: str, count: int) -> None:
        if count:
            raise fault

    with site.read() as dives, pytest.raises(type(fault)):
        write_apart(write_gpkg, tmp_path / "out", TABLES, dives, Choice(), MADE, giving_up)
    assert multiprocessing.active_children() == []


def test_writer_ends_with_whoever_began_it(site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the process that makes the rows is killed, the one that writes has nothing more to come, and ends."""
    monkeypatch.setattr(SHORT, 0)
    last_word, held = os.pipe()  # held by both processes, and so at its end once neither is there

    def killed(title: str, count: int) -> None:
        if count:
            os.kill(os.getpid(), signal.SIGKILL)

    def begun() -> None:
        with site.read() as dives:
            write_apart(write_gpkg, tmp_path / "out", TABLES, dives, Choice(), MADE, killed)

    process = multiprocessing.get_context("fork").Process(target=begun)
    process.start()
    os.close(held)
    process.join()
    assert process.exitcode == -signal.SIGKILL
    assert os.read(last_word, 1) == b""
    os.close(last_word)


def test_long_shapes_are_handed_on_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tracks of a whole season, thirty of two megabytes, never stand in memory together, here or in the writer."""
    rows, octets = 30, 2 << 20
    table = replace(
        TABLES[0], rows=lambda *_: ((Shape(ShapeKind.LINES, (array("d", bytes(octets)),)), ()) for _ in range(rows))
    )
    monkeypatch.setattr(SHORT, 0)

    def most(_: Path, tables: tuple[Table, ...], dives: ExactDives, choice: Choice, *__: object) -> dict[str, int]:
        tracemalloc.start()
        count = sum(len(shape.parts[0]) * 8 == octets for shape, _ in tables[0].rows(dives, choice) if shape)
        return {"rows": count, "octets": tracemalloc.get_traced_memory()[1]}

    dives = cast(ExactDives, SimpleNamespace(rows=0))
    tracemalloc.start()
    try:
        found = write_apart(most, Path("out"), (table,), dives, Choice(), MADE, lambda title, count: None)
        here = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert found["rows"] == rows
    assert max(found["octets"], here) < 6 * octets
