"""A photograph that tells a place in every way beside its pixels that a camera, a recorder or a sender has."""

import struct
import zipfile
from io import BytesIO

from PIL import Image, ImageCms

MAKER = "Lantern forward camera"


def picture(size: tuple[int, int], ground: str = "teal") -> Image.Image:
    """Return pixels that tell nothing: a light square on a ground, so that what is seen can be recognised."""
    image = Image.new("RGB", size, ground)
    image.paste("wheat", (size[0] // 4, size[1] // 4, size[0] // 2, size[1] // 2))
    return image


def carriers(place: tuple[float, float]) -> dict[str, bytes]:
    """Return the parts of a JPEG file that tell a place (latitude, longitude; degrees), by what they are.

    Segments are those of ITU-T T.81 (annex B) and T.871 (JFXX thumbnail), Exif 2.32, XMP part 3 and ICC.1 (annex B).
    """
    told = f"{place[0]:.5f} {place[1]:.5f}".encode()
    small = BytesIO()
    picture((32, 24)).save(small, "JPEG", comment=b"thumbnail of " + told)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes() + told
    caption = struct.pack(">2BHH", 0x1C, 2, 120, len(told)) + told  # IPTC IIM: record 2, data set 120
    block = b"8BIM\x04\x04\0\0" + struct.pack(">I", len(caption)) + caption + bytes(len(caption) % 2)
    archive = BytesIO()
    with zipfile.ZipFile(archive, "w") as file:
        file.writestr("place.txt", told)
    return {
        "Exif with GPS and a thumbnail": _segment(0xE1, _exif(place, small.getvalue())),
        "XMP": _segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>" + told + b"</x:xmpmeta>"),
        "IPTC": _segment(0xED, b"Photoshop 3.0\0" + block),
        "ICC profile": _segment(0xE2, b"ICC_PROFILE\0\x01\x01" + profile),
        "JFXX thumbnail": _segment(0xE0, b"JFXX\0\x10" + small.getvalue()),
        "a maker's own segment": _segment(0xE9, b"Recorder\0" + told),
        "a comment": _segment(0xFE, told),
        "bytes behind its end": archive.getvalue(),
    }


def photo(place: tuple[float, float], size: tuple[int, int] = (320, 240), ground: str = "teal") -> bytes:
    """Return a photograph, a JPEG, with all of these in it."""
    out = BytesIO()
    picture(size, ground).save(out, "JPEG")
    plain, parts = out.getvalue(), carriers(place)
    behind = parts.pop("bytes behind its end")
    return b"".join([plain[:20], *parts.values(), plain[20:], behind])  # 20: SOI and the JFIF segment


def _segment(marker: int, content: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(content) + 2) + content


def _exif(place: tuple[float, float], thumbnail: bytes) -> bytes:
    """Return Exif as Pillow writes it, and behind its first directory one with a thumbnail (4.5.2, 4.6.2)."""
    block = Image.Exif()
    block[0x010F] = MAKER
    axes = [_degrees(abs(axis)) for axis in place]
    block.get_ifd(0x8825).update({1: "S" if place[0] < 0 else "N", 2: axes[0], 3: "W" if place[1] < 0 else "E"})
    block.get_ifd(0x8825).update({4: axes[1], 29: f"{place[0]:.5f}"})
    tiff = bytearray(block.tobytes().removeprefix(b"Exif\0\0"))
    order = ">" if tiff[:2] == b"MM" else "<"
    (first,) = struct.unpack_from(order + "I", tiff, 4)
    (count,) = struct.unpack_from(order + "H", tiff, first)
    struct.pack_into(order + "I", tiff, first + 2 + 12 * count, len(tiff))
    at = len(tiff) + 2 + 12 * 3 + 4
    entries = ((0x0103, 3, 1, 6), (0x0201, 4, 1, at), (0x0202, 4, 1, len(thumbnail)))
    packed = b"".join(
        struct.pack(order + "HHI", *entry[:3])
        + (struct.pack(order + "HH", entry[3], 0) if entry[1] == 3 else struct.pack(order + "I", entry[3]))
        for entry in entries
    )
    return b"Exif\0\0" + bytes(tiff) + struct.pack(order + "H", 3) + packed + bytes(4) + thumbnail


def _degrees(value: float) -> tuple[float, float, float]:
    minutes = value % 1 * 60
    return float(int(value)), float(int(minutes)), round(minutes % 1 * 60, 3)
