"""Heaps of strings in HDF5: whole ones are left alone, broken ones are refused before the library is caught in them."""

from pathlib import Path

import h5py
import pytest

from charts_written import axes, seabed, write_netcdf4
from relay.audit.charts.chart_files import read_chart
from relay.audit.charts.chart_hdf5 import HEAP, Hdf5Octets
from relay.core.errors import ChartError

FIRST = 16  # of a heap's octets: its first object, whose length is eight octets further


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
