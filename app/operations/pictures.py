"""Pictures made our own: whatever came is decoded and encoded anew, so that nothing of the file but its pixels is kept.

With the file go the place and time that a camera writes into it, comments, colour profiles, and whatever else hides
behind the end of a picture.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from io import BytesIO
from threading import Lock

from PIL import Image, ImageOps, UnidentifiedImageError

from app.errors import Rejected

MOST_BYTES = 8 * 2**20
MOST_PIXELS = 40_000_000
WHOLE_EDGE, SMALL_EDGE = 1600, 320
WHOLE_QUALITY, SMALL_QUALITY = 82, 70
MEDIA_TYPE = "image/jpeg"
FORMATS = ("JPEG", "PNG", "WEBP")

TOO_LARGE = "This photo is larger than 8 MB. Send it smaller."
TOO_MANY_PIXELS = "This photo has more than 40 million pixels. Send it smaller."
NO_PICTURE = "This is no photo that can be read here. Send a JPEG, PNG or WebP."
APPLE_PICTURE = "This is a HEIC photo, which can't be read here. Set the camera to “Most compatible”, or send a JPEG."
DAMAGED = "This photo is damaged or cut short. Take it or send it again."

_PLAIN_MODES = frozenset({"1", "L", "LA", "P", "PA", "RGB", "RGBA", "RGBX", "CMYK", "YCbCr"})
# Decoding the largest takes some 300 MB; several at once could take all the memory of a small computer.
_one_at_a_time = Lock()


@dataclass(frozen=True)
class Picture:
    """A picture in its two sizes, both JPEG. sha256: of the file as it came; width and height: of the whole one."""

    sha256: str
    width: int
    height: int
    whole: bytes
    small: bytes


def make_picture(data: bytes) -> Picture:
    """Decode what came and encode it anew. Rejected says under `photo` why it can't be kept."""
    if len(data) > MOST_BYTES:
        raise Rejected({"photo": TOO_LARGE})
    with _one_at_a_time:
        image = _decoded(data)
        whole, small = _encoded(image, WHOLE_EDGE, WHOLE_QUALITY), _encoded(image, SMALL_EDGE, SMALL_QUALITY)
    return Picture(hashlib.sha256(data).hexdigest(), *image.size, whole, small)


def make_small(whole: bytes) -> bytes:
    """The small picture of a whole one that was kept before. Rejected where it is none."""
    with _one_at_a_time:
        return _encoded(_decoded(whole), SMALL_EDGE, SMALL_QUALITY)


def _decoded(data: bytes) -> Image.Image:
    """Upright, in plain colours, and no larger than a whole picture may be."""
    try:
        with Image.open(BytesIO(data), formats=FORMATS) as image:
            # From the head of the file alone: nothing that is too large is ever unpacked.
            if image.width * image.height > MOST_PIXELS:
                raise Rejected({"photo": TOO_MANY_PIXELS})
            if image.mode not in _PLAIN_MODES:
                raise Rejected({"photo": NO_PICTURE})
            return _on_white(ImageOps.exif_transpose(_shrunk(image)))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise Rejected({"photo": TOO_MANY_PIXELS}) from error
    except UnidentifiedImageError as error:
        raise Rejected({"photo": APPLE_PICTURE if _is_heic(data) else NO_PICTURE}) from error
    except Rejected:
        raise
    except Exception as error:
        # Hostile or broken bytes break decoders in ways that no list of exceptions holds.
        raise Rejected({"photo": DAMAGED}) from error


def _shrunk(image: Image.Image) -> Image.Image:
    """First of all small, for every step at the size of the camera takes a hundred megabytes."""
    image.draft("RGB", (WHOLE_EDGE, WHOLE_EDGE))
    mode = "RGBA" if image.has_transparency_data else "RGB"
    if image.mode != mode:
        image = image.convert(mode)
    image.thumbnail((WHOLE_EDGE, WHOLE_EDGE), Image.Resampling.LANCZOS, reducing_gap=2.0)
    return image


def _on_white(image: Image.Image) -> Image.Image:
    """Where one could see through the picture, there is white; the pixels and nothing else are taken over."""
    plain = Image.new("RGB", image.size, "white")
    plain.paste(image, mask=image if image.mode == "RGBA" else None)
    return plain


def _encoded(image: Image.Image, edge: int, quality: int) -> bytes:
    copy, out = image.copy(), BytesIO()
    copy.thumbnail((edge, edge), Image.Resampling.LANCZOS)
    copy.save(out, "JPEG", quality=quality, optimize=True, progressive=edge > SMALL_EDGE)
    return out.getvalue()


def _is_heic(data: bytes) -> bool:
    return data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1")
