"""A picture file on its way to becoming a still: opened in the teller's process, its pixels re-encoded, nothing else.

Rules: JPEG, PNG and WebP alone, each opened by its own reader, bounded in bytes and pixels before anything is decoded;
what turns the pixels (EXIF orientation, a colour profile) is applied to them, and then only pixels go on. The relay
itself never decodes a picture: a broken or hostile one, or one that takes long, stops a command and no release.
"""

from dataclasses import dataclass
from hashlib import sha256
from io import BytesIO
from pathlib import Path

from PIL import Image, ImageCms, ImageFile, JpegImagePlugin, PngImagePlugin, WebPImagePlugin

from relay.core.errors import OperatorError
from relay.core.still import OCTET_LIMIT, SIDE_LIMIT, Still
from relay.shell.record.whole_file import open_regular, put_in_place, scratch_file

ORIGINAL_LIMIT = 64 * 1024 * 1024
PIXEL_LIMIT = 50_000_000
FOLDER = "stills"
_QUALITIES = (85, 75, 65, 55, 45, 35)
_SIDES = (SIDE_LIMIT, 768, 512)
_ORIENTATION = 0x0112  # Exif 2.32, table 4
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
CAUTION = (
    "Whatever is written into the picture itself stays in it: a position, a time, a heading or a depth that a camera "
    "or a recorder burned in, a screen in the background, a coast. Nothing checks that but you."
)


@dataclass(frozen=True, slots=True)
class Picture:
    """An original as it was read: its bytes, and the ending of its kind."""

    data: bytes
    ending: str

    @property
    def digest(self) -> str:
        """SHA-256 in hexadecimal."""
        return sha256(self.data).hexdigest()


def read_picture(path: Path) -> Picture:
    """Read a picture file; OperatorError if it is not one of the kinds taken, or too large."""
    try:
        with open_regular(path) as file:
            data = file.read(ORIGINAL_LIMIT + 1)
    except OSError as error:
        raise OperatorError(f"{path} can't be read: {error.strerror}") from error
    if len(data) > ORIGINAL_LIMIT:
        raise OperatorError(f"{path} has more than {ORIGINAL_LIMIT >> 20} MiB: save a smaller copy of it")
    return Picture(data, _ending(path, data))


def _ending(path: Path, data: bytes) -> str:
    if data.startswith(b"\xff\xd8\xff"):
        return "jpg"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return "webp"
    raise OperatorError(f"{path} is no JPEG, PNG or WebP, whatever its name says: save it as one of them")


def made_still(path: Path, picture: Picture) -> Still:
    """Return the still made of a picture; `path` is for the words of an OperatorError alone."""
    try:
        pixels = _pixels(path, picture)
    except OperatorError:
        raise
    except Exception as error:  # readers of pictures raise nearly anything for a broken one
        raise OperatorError(
            f"{path} can't be read as a picture, it is broken or cut off: {str(error) or type(error).__name__}"
        ) from error
    return Still(_encoded(path, pixels), picture.digest)


def _opened(picture: Picture) -> ImageFile.ImageFile:
    """Open a picture by the reader of its kind and no other: none that its bytes could call for instead."""
    file = BytesIO(picture.data)
    if picture.ending == "jpg":
        return JpegImagePlugin.JpegImageFile(file)
    return PngImagePlugin.PngImageFile(file) if picture.ending == "png" else WebPImagePlugin.WebPImageFile(file)


def _pixels(path: Path, picture: Picture) -> Image.Image:
    """Return the picture upright, in RGB, at most `SIDE_LIMIT` a side, and free of all that came with it."""
    image = _opened(picture)
    width, height = image.size
    if width * height > PIXEL_LIMIT:
        raise OperatorError(f"{path} has {width} × {height} pixels, more than {PIXEL_LIMIT:,}: save a smaller copy")
    if getattr(image, "n_frames", 1) > 1:
        raise OperatorError(f"{path} moves: save one picture of it")
    turn, profile = _TURNS.get(image.getexif().get(_ORIENTATION, 1)), image.info.get("icc_profile")
    image.draft(None, (2 * SIDE_LIMIT, 2 * SIDE_LIMIT))
    plain = _rgb(image, profile)
    plain.thumbnail((SIDE_LIMIT, SIDE_LIMIT), Image.Resampling.LANCZOS)
    upright = plain if turn is None else plain.transpose(turn)
    return Image.frombytes("RGB", upright.size, upright.tobytes())


def _rgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """Return an image in the colours of sRGB, as far as it says which its own are; what is clear becomes white."""
    if image.mode.startswith("I"):
        image = image.convert("I").point(lambda value: value * (1 / 256)).convert("L")  # 16 bits a pixel
    elif image.mode in ("P", "PA") or (image.mode != "RGBA" and "transparency" in image.info):
        image = image.convert("RGBA")
    if image.mode in ("LA", "RGBA", "RGBa", "La"):
        clear = image.convert("RGBA")
        image = Image.new("RGBA", clear.size, "white")
        image.alpha_composite(clear)
        image = image.convert("RGB")
    if profile and image.mode in ("RGB", "CMYK", "L"):
        try:
            source = ImageCms.ImageCmsProfile(BytesIO(profile))
            shown = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
        except (ImageCms.PyCMSError, OSError):
            return image.convert("RGB")  # a profile that can't be read, or is of other colours than the pixels
        return shown if shown is not None else image.convert("RGB")
    return image.convert("RGB")


def _encoded(path: Path, pixels: Image.Image) -> bytes:
    """Return pixels as a JPEG of at most `OCTET_LIMIT` bytes: as good as it may be, smaller if it must be."""
    for side in _SIDES:
        smaller = pixels.copy()
        smaller.thumbnail((side, side), Image.Resampling.LANCZOS)
        for quality in _QUALITIES:
            out = BytesIO()
            smaller.save(out, "JPEG", quality=quality, optimize=True)
            if out.tell() <= OCTET_LIMIT:
                return out.getvalue()
    raise OperatorError(f"{path} can't be made smaller than {OCTET_LIMIT >> 10} KiB: take another picture")


def keep_original(private: Path, picture: Picture) -> tuple[Path, bool]:
    """Keep an original unchanged beside the journal, on the disk; return where, and whether it is newly there.

    It has mode 0600 and its digest for a name. OperatorError if the disk won't take it.
    """
    folder = private / FOLDER
    path = folder / f"{picture.digest}.{picture.ending}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        if path.exists() and path.read_bytes() == picture.data:
            return path, False
        with scratch_file(folder) as beside:
            beside.write_bytes(picture.data)
            put_in_place(beside, path, over=True)
    except OSError as error:
        raise OperatorError(f"the original can't be kept as {path}: {error.strerror}") from error
    return path, True
