"""A picture file made into a still, read back by a walk over its markers (ITU-T T.81, annex B) and by Pillow."""

import stat
import struct
import zipfile
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image, ImageCms

from canaries import Scanner
from canary_photo import MAKER, carriers, photo
from relay.core.errors import OperatorError
from relay.core.still import OCTET_LIMIT, SIDE_LIMIT
from relay.shell.record.still_file import PIXEL_LIMIT, Picture, keep_original, made_still, read_picture

PLACE = (-38.61472, -21.93306)
SCANNER = Scanner([PLACE], words={"camera": "Lantern forward camera", "remark": "burned by the recorder"})


def exif(orientation: int = 1) -> bytes:
    """Return an EXIF block with the canary's place, a maker and an orientation, as Pillow writes it."""
    block = Image.Exif()
    block[0x0112], block[0x010F] = orientation, "Lantern forward camera"
    block.get_ifd(0x8825).update({1: "S", 2: (38.0, 36.0, 52.992), 3: "W", 4: (21.0, 55.0, 59.016)})
    return block.tobytes()


def original(kind: str, size: tuple[int, int] = (1_600, 900), orientation: int = 1) -> bytes:
    """Return a picture, its upper left quarter red, with every kind of metadata that Pillow can write beside it."""
    image = Image.new("RGB", size, "white")
    image.paste("red", (0, 0, size[0] // 2, size[1] // 2))
    xmp = f"<x:xmpmeta>38.61472S 21.93306W {PLACE}</x:xmpmeta>".encode()
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    named = {"JPEG": {"comment": b"burned by the recorder", "xmp": xmp}, "WEBP": {"xmp": xmp}, "PNG": {}}[kind]
    out = BytesIO()
    image.save(out, kind, exif=exif(orientation), icc_profile=profile, **named)
    return out.getvalue()


def still_of(tmp_path: Path, data: bytes) -> bytes:
    """Return the JPEG that a file with these bytes becomes."""
    path = tmp_path / "picture"
    path.write_bytes(data)
    return made_still(path, read_picture(path)).jpeg


def segments(data: bytes) -> list[tuple[int, bytes]]:
    """Return marker and content of each segment, to the end of the image, which is the end of the data."""
    assert data[:2] == b"\xff\xd8"
    at, found = 2, []
    while True:
        assert data[at] == 0xFF
        marker = data[at + 1]
        if marker == 0xD9:
            assert at + 2 == len(data)
            return found
        (length,) = struct.unpack(">H", data[at + 2 : at + 4])
        found.append((marker, data[at + 4 : at + 2 + length]))
        at += 2 + length
        if marker == 0xDA:
            while data[at] != 0xFF or data[at + 1] == 0 or 0xD0 <= data[at + 1] <= 0xD7:
                at += 1


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_nothing_but_pixels_is_left_of_a_picture(kind: str, tmp_path: Path) -> None:
    """The place is found in what went in, and nowhere in what comes out; of all APPn there is a bare JFIF, no COM."""
    data = original(kind)
    assert b"Lantern forward camera" in data
    made = still_of(tmp_path, data)
    assert SCANNER.find(made) == []
    others = [(marker, content) for marker, content in segments(made) if 0xE0 <= marker <= 0xEF or marker == 0xFE]
    assert others == [(0xE0, b"JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00")]
    with Image.open(BytesIO(made)) as read:
        assert (read.format, read.mode, read.size) == ("JPEG", "RGB", (1_024, 576))
        assert not read.getexif() and not {"icc_profile", "comment", "xmp", "exif"} & set(read.info)


@pytest.mark.parametrize(("turn", "corner"), list(enumerate("ul ur lr ll ul ur lr ll".split(), 1)))
def test_picture_is_upright_as_its_exif_says(turn: int, corner: str, tmp_path: Path) -> None:
    """Each of the eight orientations (Exif 2.32, table of tag 274) puts the red quarter where it is seen."""
    with Image.open(BytesIO(still_of(tmp_path, original("JPEG", (400, 200), turn)))) as read:
        width, height = read.size
        assert (width, height) == ((400, 200) if turn < 5 else (200, 400))
        x, y = width // 4 if corner[1] == "l" else 3 * width // 4, height // 4 if corner[0] == "u" else 3 * height // 4
        red = read.getpixel((x, y))
        assert isinstance(red, tuple) and red[0] > 200 and red[1] < 60


def test_noise_is_made_to_fit(tmp_path: Path) -> None:
    """What compresses worst of all still fits, at the cost of quality and size."""
    out = BytesIO()
    Image.effect_noise((3_000, 3_000), 120).convert("RGB").save(out, "PNG")
    made = still_of(tmp_path, out.getvalue())
    assert len(made) <= OCTET_LIMIT
    with Image.open(BytesIO(made)) as read:
        assert max(read.size) <= SIDE_LIMIT


@pytest.mark.parametrize("carrier", carriers(PLACE))
def test_each_carrier_of_a_place_is_found_before_and_gone_after(carrier: str, tmp_path: Path) -> None:
    """The scanner finds the place in each of them, Pillow reads the whole photograph, and no still holds any."""
    data = photo(PLACE)
    assert carriers(PLACE)[carrier] in data
    assert any("degrees" in sighting.what for sighting in SCANNER.find(carriers(PLACE)[carrier]))
    with Image.open(BytesIO(data)) as read:
        assert read.getexif()[0x010F] == MAKER
        assert {"icc_profile", "comment", "xmp", "photoshop"} <= set(read.info)
    made = still_of(tmp_path, data)
    assert SCANNER.find(made) == []
    assert [marker for marker, _ in segments(made) if marker >= 0xE0] == [0xE0]


def test_what_follows_a_picture_is_left_behind(tmp_path: Path) -> None:
    """A JPEG that is a ZIP, too, comes out as a JPEG alone."""
    archive = BytesIO()
    with zipfile.ZipFile(archive, "w") as file:
        file.writestr("place.txt", f"{PLACE[0]} {PLACE[1]}")
    assert zipfile.is_zipfile(BytesIO(original("JPEG") + archive.getvalue()))
    made = still_of(tmp_path, original("JPEG") + archive.getvalue())
    assert not zipfile.is_zipfile(BytesIO(made))
    assert SCANNER.find(made) == []


def animated(kind: str) -> bytes:
    """Return two pictures in one file."""
    out, pictures = BytesIO(), [Image.new("RGB", (40, 30), colour) for colour in ("red", "blue")]
    pictures[0].save(out, kind, save_all=True, append_images=pictures[1:])
    return out.getvalue()


def bomb() -> bytes:
    """Return a PNG of few bytes that says it has one pixel row more than is taken."""
    out = BytesIO()
    Image.new("1", (10_000, PIXEL_LIMIT // 10_000 + 1)).save(out, "PNG")
    return out.getvalue()


def gif() -> bytes:
    """Return a picture of a kind that isn't taken."""
    out = BytesIO()
    Image.new("P", (8, 8)).save(out, "GIF")
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "no JPEG, PNG or WebP"),
        (gif(), "no JPEG, PNG or WebP"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n", "no JPEG, PNG or WebP"),
        (original("JPEG")[:9_000], "broken or cut off"),
        (original("PNG")[:-2_000], "broken or cut off"),
        (original("WEBP")[:-500], "broken or cut off"),
        (b"\xff\xd8\xff" + bytes(100), "broken or cut off"),
        (animated("PNG"), "moves"),
        (animated("WEBP"), "moves"),
        (bomb(), "more than 50,000,000"),
    ],
)
def test_picture_that_is_none_is_refused_in_words(data: bytes, why: str, tmp_path: Path) -> None:
    """Each says which file and why, and is the operator's to mend."""
    with pytest.raises(OperatorError, match=why) as caught:
        still_of(tmp_path, data)
    assert str(tmp_path / "picture") in str(caught.value)


def test_original_is_kept_as_it_was_for_its_owner_alone(tmp_path: Path) -> None:
    """Its name is its digest (hashlib), nobody else may read it, and a second time it isn't new."""
    picture = Picture(original("JPEG"), "jpg")
    path, is_new = keep_original(tmp_path, picture)
    assert (path.read_bytes(), path.stem, is_new) == (picture.data, picture.digest, True)
    assert [stat.S_IMODE(each.stat().st_mode) for each in (path.parent, path)] == [0o700, 0o600]
    assert keep_original(tmp_path, picture) == (path, False)
    assert list(path.parent.iterdir()) == [path]
