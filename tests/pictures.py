"""Pictures as cameras and mischief-makers make them."""

from __future__ import annotations

import struct
import zlib
from io import BytesIO
from typing import Any

from PIL import Image

GPS_TAG, ORIENTATION_TAG, MAKER_TAG = 0x8825, 0x0112, 0x010F
RED, BLUE = (200, 30, 30), (30, 30, 200)


def picture(width: int = 64, height: int = 48, *, left: Any = RED, right: Any = BLUE, mode: str = "RGB") -> Image.Image:
    """The left half in one colour, the right half in another."""
    image = Image.new(mode, (width, height), right)
    image.paste(left, (0, 0, width // 2, height))
    return image


def encoded(image: Image.Image, kind: str = "JPEG", **options: Any) -> bytes:
    out = BytesIO()
    image.save(out, kind, **({"quality": 95} if kind != "PNG" else {}) | options)
    return out.getvalue()


def jpeg(width: int = 64, height: int = 48, *, orientation: int | None = None, has_place: bool = False) -> bytes:
    """A photo, on request with the camera's word on which way is up, and with where it was taken."""
    exif = Image.Exif()
    if orientation is not None:
        exif[ORIENTATION_TAG] = orientation
    if has_place:
        exif[MAKER_TAG] = "Cellar camera"
        exif.get_ifd(GPS_TAG).update({1: "N", 2: (53.0, 20.0, 59.0), 3: "W", 4: (6.0, 15.0, 37.0)})
    return encoded(picture(width, height), exif=exif, comment=b"taken at home")


def opened(data: bytes) -> Image.Image:
    image = Image.open(BytesIO(data))
    image.load()
    return image


def png_bomb(width: int, height: int) -> bytes:
    """A PNG of that many white pixels in a few hundred kilobytes, written row by row."""

    def chunk(name: bytes, content: bytes) -> bytes:
        return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))

    packer = zlib.compressobj(9)
    row = b"\0" + b"\xff" * ((width + 7) // 8)
    pixels = b"".join([*(packer.compress(row) for _ in range(height)), packer.flush()])
    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")
