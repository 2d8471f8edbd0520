"""Heaps of strings in HDF5: whole ones are left alone, broken ones are refused before the library is caught in them."""

from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from charts_written import axes, seabed, write_netcdf4
from relay.audit.charts.chart_files import read_chart
from relay.audit.charts.chart_hdf5 import HEADER, HEAP, Hdf5Octets
from relay.core.errors import ChartError

FIRST = 16  # of a heap's octets: its first object, whose length is eight octets further

SUPERBLOCK = b"\x89HDF\r\n\x1a\n" + bytes(5) + b"\x08\x08" + bytes(33)  # as far as it is looked at: lengths of 8 octets


class Counted(bytes):
    """Octets that count how often something is looked up in them."""

    looked = 0

    def __getitem__(self, at: Any) -> Any:
        """Look up, and count it."""
        self.looked += 1
        return super().__getitem__(at)


def head(length: int) -> bytes:
    """Return the header of a heap."""
    return HEAP + bytes(3) + length.to_bytes(8, "little")


def string(text: bytes) -> bytes:
    """Return an object of a heap."""
    return b"\x01" + bytes(7) + len(text).to_bytes(8, "little") + text + bytes(-len(text) % 8)


def read(octets: Hdf5Octets, start: int, *counts: int) -> None:
    """Read some octets as the library does, and those behind them."""
    octets.seek(start)
    assert [octets.readinto(bytearray(count)) for count in counts] == list(counts)


@pytest.fixture
def chart(tmp_path: Path) -> Path:
    """Return a chart whose units are strings of any length."""
    return write_netcdf4(tmp_path / "c.nc", axes(), {"elevation": (("lat", "lon"), seabed(), {"units": "m"})})


@pytest.mark.parametrize("length", [1 << 13, (1 << 64) - 16, (1 << 64) - 1])
def test_string_that_leaves_its_heap_is_refused(chart: Path, length: int) -> None:
    """A length past the heap's end, or one that comes round to nought in 64 bits, which the library never leaves."""
    content = bytearray(chart.read_bytes())
    at = content.index(HEAP) + FIRST
    content[at + 8 : at + 16] = length.to_bytes(8, "little")
    chart.write_bytes(content)
    with pytest.raises(ChartError, match=rf"c\.nc: .*heap of strings is broken at octet {at}; fetch it again"):
        read_chart(chart)


@pytest.mark.parametrize("kept_free", [bytes(3), b"\x00\x04\xff"])
def test_free_rest_of_no_length_is_refused(chart: Path, kept_free: bytes) -> None:
    """Object 0 of no length, on which the library stands still, whatever lies in the head's octets without a use."""
    content = bytearray(chart.read_bytes())
    at = content.index(HEAP) + FIRST
    content[at - 11 : at - 8] = kept_free
    content[at : at + 16] = bytes(16)
    chart.write_bytes(content)
    with pytest.raises(ChartError, match=rf"broken at octet {at}; fetch"):
        read_chart(chart)


@pytest.mark.parametrize("length", [0, 4095, 1 << 40])
def test_heap_that_the_library_refuses_is_left_to_it(chart: Path, length: int) -> None:
    """Too short, or longer than its file: a chart that can't be read, in the words of the library."""
    content = bytearray(chart.read_bytes())
    at = content.index(HEAP) + 8
    content[at : at + 8] = length.to_bytes(8, "little")
    chart.write_bytes(content)
    with pytest.raises(ChartError, match=r"c\.nc: begins like NetCDF but can't be read"):
        read_chart(chart)


def test_heap_that_nothing_reads_may_be_anything(chart: Path) -> None:
    """What a file no longer uses, or what only looks like a heap, behind everything else: the chart is read."""
    with chart.open("ab") as file:
        file.write(
            bytes(-chart.stat().st_size % 8 + 4096) + HEAP + bytes(3) + (4096).to_bytes(8, "little") + bytes(4096)
        )
    assert read_chart(chart).depth_m == pytest.approx(-seabed())


@pytest.mark.parametrize("oldest", [h5py.h5f.LIBVER_EARLIEST, h5py.h5f.LIBVER_LATEST])
@pytest.mark.parametrize("octets", [4, 8])
def test_heaps_of_the_library_pass(tmp_path: Path, oldest: int, octets: int) -> None:
    """Many strings, empty ones and ones longer than a usual heap, lengths of 4 or 8 octets, old and new superblocks."""
    words = ["", "a", "degrees_north", "x" * 9_000, *(f"{number}" * (number % 11) for number in range(2_000))]
    made = h5py.h5p.create(h5py.h5p.FILE_CREATE)
    made.set_sizes(octets, octets)
    wanted = h5py.h5p.create(h5py.h5p.FILE_ACCESS)
    wanted.set_libver_bounds(oldest, h5py.h5f.LIBVER_LATEST)
    path = tmp_path / "c.h5"
    with h5py.File(h5py.h5f.create(bytes(path), h5py.h5f.ACC_TRUNC, made, wanted)) as file:
        file.create_dataset("words", data=words, dtype=h5py.string_dtype())
    content = path.read_bytes()
    assert content.count(HEAP) > 1
    with h5py.File(Hdf5Octets("c.h5", content), "r") as file:
        assert list(file["words"].asstr()[...]) == words


def overlapping(size: int) -> bytes:
    """Return units of a heap's header and an object that holds the next, each heap reaching over half of them."""
    unit = head(size // 2 + HEADER) + (b"\x01" + bytes(7) + HEADER.to_bytes(8, "little"))
    return unit * (size // len(unit))


@pytest.mark.parametrize("pieces", [1, 8])
@pytest.mark.parametrize("size", [1 << 16, 1 << 18])
def test_overlapping_heaps_are_walked_no_further_than_true_ones(size: int, pieces: int) -> None:
    """A few looks for each header that the file has room for, in whatever pieces it is read, then it is refused."""
    content = Counted(SUPERBLOCK + overlapping(size))
    with pytest.raises(ChartError, match=r"c\.nc: .*strings lie over each other at octet \d+; fetch it again"):
        read(Hdf5Octets("c.nc", content), 0, *[len(content) // pieces] * pieces)
    assert content.looked < 4 * len(content) // HEADER


def test_overlapping_heaps_among_depths_are_refused(tmp_path: Path) -> None:
    """The same in a whole file, whose depths look like heaps."""
    depths = np.frombuffer(overlapping(1 << 17), "<f4").reshape(128, 256)
    path = write_netcdf4(
        tmp_path / "c.nc",
        axes(np.linspace(40, 41, 128), np.linspace(-60, -59, 256)),
        {"elevation": (("lat", "lon"), depths, {"units": "m"})},
    )
    with pytest.raises(ChartError, match=r"c\.nc: .*strings lie over each other"):
        read_chart(path)


def test_fullest_heaps_pass_as_often_as_they_are_read() -> None:
    """Nothing but headers, also of heaps in a string of another heap: as many as fit, and none counts twice."""
    inner = head(1 << 13) + string(b"") * ((1 << 9) - 1)
    outer = string(b"") * 600 + string(inner) + string(b"") * 300
    outer = head(HEADER + len(outer)) + outer
    content = SUPERBLOCK + outer + inner
    octets = Hdf5Octets("c.nc", content)
    for _ in range(3):
        read(octets, 0, len(content))


@pytest.mark.parametrize("cut", range(len(HEAP) + 1))
def test_heap_whose_signature_is_read_in_parts_is_walked(cut: int) -> None:
    """Whichever part of it is read first; where only octets in front of it and behind it are, it is left alone."""
    content = SUPERBLOCK + bytes(4096) + head(4096) + bytes(8192)
    at = content.index(HEAP)
    for first in (range(at, at + cut), range(at + cut, at + len(HEAP))):
        octets = Hdf5Octets("c.nc", content)
        if first:
            with pytest.raises(ChartError, match=rf"broken at octet {at + HEADER}; fetch"):
                read(octets, first.start, len(first))
        read(Hdf5Octets("c.nc", content), 0, at)
        read(Hdf5Octets("c.nc", content), at + len(HEAP), 4096)


@pytest.mark.parametrize("told", [-8, 8, 4096])
def test_heap_that_lies_about_its_length_is_refused(chart: Path, told: int) -> None:
    """Longer or shorter than it is, yet within the file: no chart, whether the library says so or we do before it."""
    content = bytearray(chart.read_bytes())
    at = content.index(HEAP) + 8
    length = int.from_bytes(content[at : at + 8], "little")
    content[at : at + 8] = (length + told).to_bytes(8, "little")
    chart.write_bytes(content)
    with pytest.raises(ChartError, match=r"c\.nc: begins like NetCDF but"):
        read_chart(chart)
