"""Charts in GeoTIFF (OGC 19-008r4): one band of elevations or depths, in degrees or in any projection PROJ knows.

Rules: the picture is read by Pillow, its place by the tags below; the no-data value is that of tag 42113. A file that
doesn't say which way it counts is judged by its values (`chart_words.upward`).
"""

import io
import warnings
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, TiffImagePlugin
from pyproj import CRS
from pyproj.exceptions import CRSError

from relay.audit.charts.chart import Chart, Floats
from relay.audit.charts.chart_grid import fits
from relay.audit.charts.chart_plane import Plane, chart_of_plane
from relay.audit.charts.chart_words import upward
from relay.core.errors import ChartError

MAGIC = b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"
BITS, COMPRESSION, SAMPLE_KIND, UNSIGNED, SIGNED, REAL = 258, 259, 339, 1, 2, 3  # baseline TIFF 6.0
SCALE, TIE_POINT, AFFINE, KEYS, DOUBLES, NO_DATA = 33550, 33922, 34264, 34735, 34736, 42113
MODEL, RASTER, GEOGRAPHIC, PROJECTED, VERTICAL_UNIT = 1024, 1025, 2048, 3072, 4099
IS_PROJECTED, IS_GEOGRAPHIC, PIXEL_IS_POINT, OWN = 1, 2, 2, 32767
# Pillow unpacks numbers of 64 bits into those of 32 (a millimetre of any depth), but doesn't know them as a picture.
TiffImagePlugin.OPEN_INFO.update(
    {(order, 1, (REAL,), 1, (64,), ()): ("F", unpacked) for order, unpacked in ((b"II", "F;64F"), (b"MM", "F;64BF"))}
)
VERTICAL_M = {9001: 1.0, 9002: 0.3048, 9003: 1200 / 3937, 9014: 1.8288}  # EPSG: metre, foot, US survey foot, fathom


def read_geotiff(name: str, content: bytes, error_factor: float = 1.0) -> Chart:
    """Return the chart in a GeoTIFF; ChartError says what is wrong with it."""
    values, tags = _read(name, content)
    keys = _keys(name, tags)
    values[_missing(name, tags, values)] = np.nan
    values *= VERTICAL_M.get(keys.get(VERTICAL_UNIT, 9001), 1.0)
    return chart_of_plane(name, _plane(name, tags, keys), values * upward(name, values), error_factor=error_factor)


def _read(name: str, content: bytes) -> tuple[Floats, dict[int, Any]]:
    """Return the band's numbers (rows, columns) and the file's tags."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(content), formats=("TIFF",))
        tags = dict(getattr(image, "tag_v2", {}))
        fits(image.height, image.width)
        if len(image.getbands()) != 1 or image.mode == "P":
            raise ChartError(f"{name}: has {len(image.getbands())} bands or colours; a chart is one band of numbers")
        _check_whole(name, image)
        return _numbers(name, content, tags, np.asarray(image)).astype(np.float64), tags
    except ChartError:
        raise
    except Exception as error:  # readers of pictures raise nearly anything for a broken one
        raise ChartError(f"{name}: a TIFF that can't be read ({error}); write it as float32 or int16") from error


def _check_whole(name: str, image: Any) -> None:
    """Refuse a file without all its pixels: Pillow makes noughts of those for which there is no strip and no tile."""
    extents = [tile[1] for tile in image.tile]
    there = sum((right - left) * (lower - upper) for left, upper, right, lower in extents)
    if there < image.height * image.width:
        raise ChartError(f"{name}: holds {there:,} of its {image.height:,} by {image.width:,} pixels; write it anew")


def _numbers(name: str, content: bytes, tags: Mapping[int, Any], read: NDArray[Any]) -> NDArray[Any]:
    """Return what Pillow read as the numbers that were stored: it takes signed octets for unsigned ones, and 32 bits
    without a sign for signed ones; compressed numbers whose first octet is the highest it gets wrong."""
    bits, kind = max(tags[BITS]), max(tags.get(SAMPLE_KIND, (UNSIGNED,)))
    if bits > 8 and content.startswith(b"MM") and tags.get(COMPRESSION, 1) != 1:
        raise ChartError(f"{name}: compressed and big-endian, which can't be read; write it little-endian")
    if kind == SIGNED and bits == 8:
        return read.view(np.int8)
    if kind == UNSIGNED and bits == 32:
        return read.view(np.uint32)
    return read


def _missing(name: str, tags: Mapping[int, Any], values: Floats) -> Any:
    text = str(tags.get(NO_DATA, "")).strip(" \x00")
    try:
        missing = np.float64(text) if text else np.nan
    except ValueError as error:
        raise ChartError(f"{name}: the no-data value `{text}` is no number") from error
    with np.errstate(over="ignore"):
        return ~np.isfinite(values) | (values == missing) | (values == np.float32(missing))


def _keys(name: str, tags: Mapping[int, Any]) -> dict[int, int]:
    """Return the keys that hold a number of their own (section 7.1.2 of the standard: four words each)."""
    words = _listed(name, tags, KEYS)
    if len(words) < 4 or not np.isfinite(words).all() or len(words) < 4 * (words[3] + 1):
        raise ChartError(f"{name}: a TIFF without the keys of a GeoTIFF: nothing in it tells where it lies")
    directory = [int(word) for word in words]
    rows = [directory[at : at + 4] for at in range(4, 4 * (directory[3] + 1), 4)]
    return {key: value for key, place, _, value in rows if place == 0}


def _plane(name: str, tags: Mapping[int, Any], keys: Mapping[int, int]) -> Plane:
    affine = _affine(name, tags)
    if keys.get(RASTER) != PIXEL_IS_POINT:  # a pixel is an area: its middle is half a pixel in
        affine[:, 2] += affine[:, :2].sum(axis=1) / 2
    model = keys.get(MODEL)
    code = keys.get(PROJECTED if model == IS_PROJECTED else GEOGRAPHIC, OWN)
    if model not in (IS_PROJECTED, IS_GEOGRAPHIC) or code in (0, OWN):
        raise ChartError(f"{name}: its projection is its own, without an EPSG code; write it in EPSG:4326")
    try:
        crs = CRS.from_epsg(code)
    except CRSError as error:
        raise ChartError(f"{name}: EPSG:{code} is no projection that is known; write it in EPSG:4326") from error
    return Plane(crs, affine)


def _affine(name: str, tags: Mapping[int, Any]) -> Floats:
    """Return x and y of (column, row, 1) (2, 3): the corner of the first pixel, or its middle where it is a point."""
    matrix = _listed(name, tags, AFFINE)
    if len(matrix) == 16:
        return np.array(matrix).reshape(4, 4)[:2][:, [0, 1, 3]]
    scale, tie = _listed(name, tags, SCALE), _listed(name, tags, TIE_POINT)
    if len(scale) < 2 or len(tie) < 6 or not all(scale[:2]):
        raise ChartError(f"{name}: neither a pixel's size with a tie point (tags 33550, 33922) nor a matrix (34264)")
    column, row, _, x, y = tie[:5]
    return np.array([[scale[0], 0.0, x - column * scale[0]], [0.0, -scale[1], y + row * scale[1]]])


def _listed(name: str, tags: Mapping[int, Any], tag: int) -> list[float]:
    """Return the numbers of a tag; none where it isn't there."""
    try:
        return [float(number) for number in np.array(tags.get(tag, ()), dtype=np.float64).ravel()]
    except (TypeError, ValueError) as error:
        raise ChartError(
            f"{name}: its tag {tag} holds something else than numbers; write it anew as GeoTIFF"
        ) from error
