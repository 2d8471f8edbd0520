"""Charts of an invented seabed, written to files by libraries that the reader doesn't use, or by their other half.

NetCDF 4 by h5netcdf, NetCDF 3 by scipy, GeoTIFF by tifffile.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import h5netcdf
import numpy as np
import tifffile
from scipy.io import netcdf_file

LATITUDES = 54.0 + np.arange(31) / 300
LONGITUDES = -31.5 + np.arange(41) / 200
Axis = tuple[str, np.ndarray, dict[str, Any]]


def elevation(latitude_deg: Any, longitude_deg: Any) -> Any:
    """Return an invented seabed's elevation in metres, positive up: a slope with a hill, no land."""
    hill = 40 * np.exp(-((latitude_deg - 54.05) ** 2 + (longitude_deg + 31.4) ** 2) / 0.02**2)
    return -120 + hill + 300 * (latitude_deg - 54.0) - 200 * (longitude_deg + 31.5)


def seabed() -> np.ndarray:
    """Return the invented seabed on LATITUDES x LONGITUDES."""
    return elevation(LATITUDES[:, None], LONGITUDES[None, :])


def axes(latitudes: np.ndarray = LATITUDES, longitudes: np.ndarray = LONGITUDES) -> list[Axis]:
    """Return the axes of a chart in degrees, as CF writes them."""
    return [("lat", latitudes, {"units": "degrees_north"}), ("lon", longitudes, {"units": "degrees_east"})]


def write_netcdf4(path: Path, held: list[Axis], values: Mapping[str, tuple[tuple[str, ...], np.ndarray, dict]]) -> Path:
    """Write axes and variables (dimensions, values, attributes) by h5netcdf; values without dimensions are none."""
    with h5netcdf.File(path, "w") as file:
        file.dimensions = {name: len(axis) for name, axis, _ in held}
        for name, axis, attributes in held:
            file.create_variable(name, (name,), data=axis).attrs.update(attributes)
        for name, (dimensions, data, attributes) in values.items():
            file.create_variable(name, dimensions, data=data).attrs.update(attributes)
    return path


def write_netcdf3(path: Path, held: list[Axis], values: Mapping[str, tuple[tuple[str, ...], np.ndarray, dict]]) -> Path:
    """Write the same by scipy."""
    with netcdf_file(path, "w") as file:
        for name, axis, _ in held:
            file.createDimension(name, len(axis))
        every = {name: ((name,), axis, attributes) for name, axis, attributes in held} | dict(values)
        for name, (dimensions, data, attributes) in every.items():
            variable = file.createVariable(name, data.dtype.newbyteorder(">"), dimensions)
            variable[...] = data
            for attribute, value in attributes.items():
                setattr(variable, attribute, value)
    return path


def write_geotiff(path: Path, values: np.ndarray, keys: Mapping[int, int], **tags: Any) -> Path:
    """Write one band by tifffile; `keys` are GeoTIFF keys with numbers, `tags` named scale, tie, matrix, missing."""
    directory = [1, 1, 0, len(keys)]
    for key, value in sorted(keys.items()):
        directory += [key, 0, 1, value]
    extra: list[tuple[int, str, int, Any, bool]] = [(34735, "H", len(directory), tuple(directory), True)]
    for name, code in (("scale", 33550), ("tie", 33922), ("matrix", 34264)):
        if name in tags:
            extra.append((code, "d", len(tags[name]), tuple(tags[name]), True))
    if "missing" in tags:
        extra.append((42113, "s", 0, tags["missing"], True))
    tifffile.imwrite(
        path, values, extratags=extra, metadata=None, **({"photometric": "minisblack"} | tags.get("how", {}))
    )
    return path
