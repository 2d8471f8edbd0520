"""Fuzz targets of pictures: files on their way to becoming stills, and the stills' own walk over a JPEG's markers.

Properties: what comes out is a still, of pixels alone; whatever is refused is refused in words (R1).
"""

from io import BytesIO

from PIL import Image

from fuzz_target import Target, as_file, result_or
from relay.core.errors import OperatorError
from relay.core.still import Still, jpeg_size
from relay.shell.record.still_file import made_still, read_picture


def _picture(data: bytes) -> None:
    """A picture file, whatever its name says."""
    path = as_file(data, "picture.jpg")
    still = result_or(OperatorError, lambda: made_still(path, read_picture(path)))
    if isinstance(still, Still):
        with Image.open(BytesIO(still.jpeg)) as image:
            image.load()
            assert image.size == still.size
            assert not image.getexif() and set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density",
                                                               "progressive", "progression"}  # fmt: skip


def _markers(data: bytes) -> None:
    """The bytes of what somebody says is a still."""
    size = result_or(OperatorError, lambda: jpeg_size(data))
    if isinstance(size, tuple):
        assert min(size) > 0


def _written(kind: str, mode: str = "RGB", **options: object) -> bytes:
    out = BytesIO()
    Image.new(mode, (9, 7), 1).save(out, kind, **options)
    return out.getvalue()


_JPEG = _written("JPEG", quality=35)
_SEEDS = [
    _JPEG,
    *(_written(kind, mode) for kind, mode in (("JPEG", "L"), ("PNG", "RGBA"), ("PNG", "P"), ("PNG", "I;16"))),
    _written("JPEG", progressive=True, comment=b"a remark"),
    _written("WEBP"),
    _written("WEBP", lossless=True),
]
_STILL = made_still(as_file(_JPEG, "seed.jpg"), read_picture(as_file(_JPEG, "seed.jpg"))).jpeg

TARGETS = (
    Target("picture", _picture, _SEEDS, 1_500),
    Target("still-markers", _markers, [_STILL, _JPEG], 1_500),
)
