"""Charts in NetCDF, classic (version 3) and on HDF5 (version 4), by the conventions for climate and forecasts (CF).

Rules: axes are found by standard name, then by unit, then by name; the depth likewise, and its sign by standard name,
by `positive`, by name, in this order. Packing, fill values, valid ranges and masks are undone as CF says. Dimensions of
one element are left out; a variable of more than two has no place in a chart.
"""

import io
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
from pyproj import CRS
from pyproj.exceptions import CRSError

from relay.audit.charts.chart import Chart, Floats
from relay.audit.charts.chart_grid import chart_of_grid, chart_of_nodes, fits
from relay.audit.charts.chart_hdf5 import Hdf5Octets
from relay.audit.charts.chart_plane import Plane, chart_of_plane
from relay.audit.charts.chart_words import DOWN, LATITUDE, LONGITUDE, UNITS_M, UP, upward, word_and_unit
from relay.core.errors import ChartError

CLASSIC, HDF5 = (b"CDF\x01", b"CDF\x02"), b"\x89HDF\r\n\x1a\n"
# Of the CF standard name table, from memory: those of the seabed and of the ground, positive down and up.
STANDARD_DOWN = "sea_floor_depth"
STANDARD_UP = (
    "surface_altitude", "bedrock_altitude", "ground_level_altitude", "altitude", "height",
    "height_above_mean_sea_level", "height_above_geopotential_datum", "height_above_reference_ellipsoid",
)  # fmt: skip
SIGNLESS = ("z", "band1", "bathymetry", "bathy", "bottom", "seabed", "seafloor")
NORTH = ("degrees_north", "degree_north", "degree_n", "degrees_n", "degreen", "degreesn")
EAST = ("degrees_east", "degree_east", "degree_e", "degrees_e", "degreee", "degreese")


@dataclass(frozen=True)
class Variable:
    """A variable of the file, its attributes as text and numbers; `values` (`shape`) as stored, read when indexed."""

    name: str
    dimensions: tuple[str, ...]
    shape: tuple[int, ...]
    attributes: Mapping[str, Any]
    values: Any

    def text(self, attribute: str) -> str:
        """Return an attribute in small letters; empty where there is none."""
        return str(self.attributes.get(attribute, "")).strip().lower()

    def numbers(self, *attributes: str) -> list[float]:
        """Return all numbers of some attributes."""
        found = [np.ravel(self.attributes[each]) for each in attributes if each in self.attributes]
        return [float(number) for part in found for number in part]

    def unpacked(self) -> Floats:
        """Return the values in the variable's unit, NaN where they are missing (CF 1.11, sections 2.5.1 and 8.1)."""
        stored = np.asarray(self.values[...])
        values: Floats = stored.astype(np.float64)
        for filled in self.numbers("_FillValue", "missing_value"):
            values[stored == np.asarray(filled).astype(stored.dtype)] = np.nan
        least, most = (self.numbers("valid_range", f"valid_{end}") for end in ("min", "max"))
        if least:
            values[values < least[0]] = np.nan
        if most:
            values[values > most[-1]] = np.nan
        scale, offset = (self.numbers(name) or [usual] for name, usual in (("scale_factor", 1.0), ("add_offset", 0.0)))
        return values * scale[0] + offset[0]


def read_netcdf(name: str, content: bytes, error_factor: float = 1.0) -> Chart:
    """Return the chart in a NetCDF file; ChartError says what is missing in it."""
    try:
        with _classic(content) if content.startswith(CLASSIC) else _hdf5(name, content) as found:
            variables = {each.name: each for each in found}
            value = _value(name, variables)
            elevation_m = _masked(variables, value, _elevation(name, value))
            return _placed(name, variables, value, elevation_m, error_factor)
    except ChartError:
        raise
    except Exception as error:  # readers of NetCDF raise nearly anything for a broken one
        raise ChartError(f"{name}: begins like NetCDF but can't be read ({error}); fetch it again") from error


@contextmanager
def _classic(content: bytes) -> Iterator[list[Variable]]:
    from scipy.io import netcdf_file

    with netcdf_file(io.BytesIO(content), "r", mmap=False) as file:
        yield [
            Variable(name, tuple(held.dimensions), tuple(held.shape), _plain(held._attributes), held)
            for name, held in file.variables.items()
        ]


@contextmanager
def _hdf5(name: str, content: bytes) -> Iterator[list[Variable]]:
    import h5netcdf

    with h5netcdf.File(Hdf5Octets(name, content), "r", decode_vlen_strings=True) as file:
        yield [
            Variable(variable, tuple(held.dimensions), tuple(held.shape), _plain(dict(held.attrs)), held)
            for variable, held in file.variables.items()
        ]


def _plain(attributes: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: held.decode("utf-8", "replace") if isinstance(held, bytes) else held for name, held in attributes.items()
    }


def _value(name: str, variables: Mapping[str, Variable]) -> Variable:
    """Return the variable that holds the depths: by standard name if one has one, or else by name."""
    wide = [each for each in variables.values() if sum(length > 1 for length in each.shape) in (1, 2)]
    axes = {
        each.name for each in wide if _is(each, "latitude", NORTH, LATITUDE) or _is(each, "longitude", EAST, LONGITUDE)
    }
    wide = [each for each in wide if each.name not in axes and each.name not in each.dimensions]
    ways = (
        lambda each: each.text("standard_name").startswith(STANDARD_DOWN),
        lambda each: each.text("standard_name") in STANDARD_UP,
        lambda each: word_and_unit(each.name)[0] in DOWN | UP,
        lambda each: each.name.lower() in SIGNLESS,
    )
    for way in ways:
        chosen = [each for each in wide if way(each)]
        if len(chosen) > 1:
            names = ", ".join(each.name for each in chosen)
            raise ChartError(f"{name}: {names} could all be the depth; leave one of them in the file")
        if chosen:
            return chosen[0]
    raise ChartError(
        f"{name}: none of {', '.join(variables) or 'no variables'} is a depth on two axes; name it depth "
        "(positive down) or elevation (positive up), or give it a standard_name of CF"
    )


def _elevation(name: str, value: Variable) -> Floats:
    """Return the values in metres, positive up, without dimensions of one element."""
    fits(int(np.prod(value.shape)), 1)
    unit = value.text("units")
    if unit and unit not in UNITS_M:
        raise ChartError(f"{name}: {value.name} is in `{unit}`; a chart is in metres, feet or fathoms")
    metres = np.squeeze(value.unpacked()) * UNITS_M.get(unit, 1.0)
    standard, positive = value.text("standard_name"), value.text("positive")
    word = word_and_unit(value.name)[0]
    if standard.startswith(STANDARD_DOWN) or standard in STANDARD_UP:
        down = standard.startswith(STANDARD_DOWN)
    elif positive in ("up", "down"):
        down = positive == "down"
    elif word in DOWN | UP:
        down = word in DOWN
    else:
        down = upward(name, metres) < 0
    elevation_m: Floats = -metres if down else metres
    return elevation_m


def _masked(variables: Mapping[str, Variable], value: Variable, elevation_m: Floats) -> Floats:
    """Return elevations without those that a mask of the file (`land_binary_mask`, `sea_binary_mask`) calls land."""
    for each in variables.values():
        standard = each.text("standard_name")
        if standard in ("land_binary_mask", "sea_binary_mask") and each.dimensions == value.dimensions:
            dry = np.squeeze(each.unpacked()) == (1 if standard.startswith("land") else 0)
            elevation_m = np.where(dry, np.fmax(elevation_m, 0.0), elevation_m)
    return elevation_m


def _placed(
    name: str, variables: Mapping[str, Variable], value: Variable, elevation_m: Floats, error_factor: float
) -> Chart:
    """Return the chart on the axes that the file gives for the value."""
    north = _axis(variables, value, "latitude", NORTH, LATITUDE)
    east = _axis(variables, value, "longitude", EAST, LONGITUDE)
    if north is None or east is None:
        return _projected(name, variables, value, elevation_m, error_factor)
    latitudes, longitudes = _in_degrees(name, north, 90.0), _in_degrees(name, east, 540.0)
    alike = north.dimensions == east.dimensions
    if alike and latitudes.shape == elevation_m.shape:
        return chart_of_nodes(
            name, latitudes.ravel(), longitudes.ravel(), elevation_m.ravel(), error_factor=error_factor
        )
    order = [length for length in value.dimensions if length in north.dimensions + east.dimensions]
    if order == [*east.dimensions, *north.dimensions]:
        elevation_m = elevation_m.T
    if elevation_m.shape != (latitudes.size, longitudes.size):
        raise ChartError(f"{name}: {value.name} has the shape {elevation_m.shape}, its axes have another")
    return chart_of_grid(name, latitudes, longitudes, elevation_m, error_factor=error_factor)


def _axis(
    variables: Mapping[str, Variable], value: Variable, standard: str, units: tuple[str, ...], words: set[str]
) -> Variable | None:
    """Return the axis of a value that has a standard name, a unit or a name as given."""
    fitting = [each for each in variables.values() if each.dimensions and set(each.dimensions) <= set(value.dimensions)]
    ways = (
        lambda each: each.text("standard_name") == standard,
        lambda each: each.text("units") in units,
        lambda each: word_and_unit(each.name.removeprefix("nav_"))[0] in words,
    )
    return next((each for way in ways for each in fitting if way(each)), None)


def _is(each: Variable, standard: str, units: tuple[str, ...], words: set[str]) -> bool:
    return (
        each.text("standard_name") == standard
        or each.text("units") in units
        or word_and_unit(each.name.removeprefix("nav_"))[0] in words
    )


def _in_degrees(name: str, axis: Variable, most: float) -> Floats:
    degrees = np.squeeze(axis.unpacked())
    if degrees.ndim == 0 or not (np.abs(degrees[np.isfinite(degrees)]) <= most).all():
        raise ChartError(f"{name}: {axis.name} isn't in degrees, or is one value alone")
    return degrees


def _projected(
    name: str, variables: Mapping[str, Variable], value: Variable, elevation_m: Floats, error_factor: float
) -> Chart:
    """Return the chart of a grid in a projection that the file tells (CF 1.11, section 5.6, or a text of it)."""
    held = {each.text("standard_name"): each for each in variables.values() if len(each.dimensions) == 1}
    mapping = variables.get(str(value.attributes.get("grid_mapping", "")))
    across, up = held.get("projection_x_coordinate"), held.get("projection_y_coordinate")
    if mapping is None or across is None or up is None:
        raise ChartError(
            f"{name}: {value.name} has no axes of latitude and longitude (units degrees_north, degrees_east), nor a "
            "projection (grid_mapping, projection_x_coordinate, projection_y_coordinate)"
        )
    if value.dimensions.index(across.dimensions[0]) < value.dimensions.index(up.dimensions[0]):
        elevation_m = elevation_m.T
    try:
        crs = CRS.from_cf(dict(mapping.attributes))
    except CRSError as error:
        raise ChartError(f"{name}: the projection `{mapping.name}` is none that is known: {error}") from error
    (start_x, step_x), (start_y, step_y) = (_evenly(name, each) for each in (across, up))
    affine = np.array([[step_x, 0.0, start_x], [0.0, step_y, start_y]])
    return chart_of_plane(name, Plane(crs, affine), elevation_m, error_factor=error_factor)


def _evenly(name: str, axis: Variable) -> tuple[float, float]:
    """Return start and step of an axis, in metres."""
    unit = axis.text("units") or "m"
    metres = axis.unpacked() * UNITS_M.get(unit, np.nan)
    steps = np.diff(metres)
    if not (np.abs(steps - steps.mean()) <= 0.01 * abs(steps.mean())).all():
        raise ChartError(f"{name}: {axis.name} doesn't go in even steps of metres or kilometres")
    return float(metres[0]), float(steps.mean())
