"""What is made of a photo that came: upright, small, a JPEG, and nothing but its pixels; or a reason why not."""

from __future__ import annotations

import hashlib
import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from app.errors import Rejected
from app.operations.pictures import MOST_BYTES, make_picture
from tests.pictures import BLUE, RED, encoded, jpeg, opened, picture, png_bomb

NEAR = 12
"""How far a colour may be off after two JPEG encodings, of 255."""

PLAIN = {
    "jpeg": encoded(picture()),
    "png": encoded(picture(), "PNG"),
    "webp": encoded(picture(), "WEBP"),
}


def refusal(data: bytes) -> str:
    with pytest.raises(Rejected) as refused:
        make_picture(data)
    assert set(refused.value.fields) == {"photo"}
    return refused.value.fields["photo"]


def colour_at(image: Image.Image, across: float, down: float) -> tuple[int, ...]:
    found = image.getpixel((int(across * image.width), int(down * image.height)))
    assert isinstance(found, tuple)
    return found


def is_near(found: tuple[int, ...], wanted: tuple[int, ...]) -> bool:
    return all(abs(one - other) <= NEAR for one, other in zip(found, wanted, strict=True))


@pytest.mark.parametrize("kind", PLAIN)
def test_each_known_kind_becomes_a_jpeg_in_two_sizes(kind: str) -> None:
    made = make_picture(PLAIN[kind])
    for data in (made.whole, made.small):
        image = opened(data)
        assert image.format == "JPEG"
        assert is_near(colour_at(image, 0.2, 0.5), RED)
        assert is_near(colour_at(image, 0.8, 0.5), BLUE)


def test_the_digest_is_that_of_what_came() -> None:
    data = PLAIN["jpeg"]
    assert make_picture(data).sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize(
    ("size", "whole", "small"),
    [
        ((3200, 2400), (1600, 1200), (320, 240)),
        ((900, 3600), (400, 1600), (80, 320)),
        ((1600, 1200), (1600, 1200), (320, 240)),
        ((200, 100), (200, 100), (200, 100)),
        ((8000, 2), (1600, 1), (320, 1)),
    ],
)
def test_the_longest_edge_is_at_most_1600_and_320_and_nothing_grows(
    size: tuple[int, int], whole: tuple[int, int], small: tuple[int, int]
) -> None:
    made = make_picture(encoded(picture(*size), "PNG"))
    assert opened(made.whole).size == whole == (made.width, made.height)
    assert opened(made.small).size == small


def test_where_it_was_taken_and_all_else_that_a_camera_writes_is_gone() -> None:
    data = jpeg(has_place=True, orientation=1)
    assert opened(data).getexif().get_ifd(0x8825)
    assert b"taken at home" in data
    made = make_picture(data)
    for kept in (made.whole, made.small):
        image = opened(kept)
        assert dict(image.getexif()) == {}
        assert not {"exif", "comment", "icc_profile", "xmp"} & set(image.info)
        assert b"taken at home" not in kept
        assert b"Cellar camera" not in kept


def test_a_colour_profile_and_what_stands_behind_the_picture_are_gone() -> None:
    data = encoded(picture(), icc_profile=b"a profile of another" * 9) + b"PK\x03\x04 hidden behind the end"
    made = make_picture(data)
    assert b"profile of another" not in made.whole
    assert b"hidden" not in made.whole
    assert made.whole.endswith(b"\xff\xd9")


@pytest.mark.parametrize(
    ("orientation", "red_at"), [(1, (0.2, 0.5)), (3, (0.8, 0.5)), (6, (0.5, 0.2)), (8, (0.5, 0.8))]
)
def test_the_picture_stands_upright(orientation: int, red_at: tuple[float, float]) -> None:
    made = make_picture(jpeg(400, 300, orientation=orientation))
    assert (made.width, made.height) == ((400, 300) if orientation in (1, 3) else (300, 400))
    assert is_near(colour_at(opened(made.whole), *red_at), RED)
    assert is_near(colour_at(opened(made.small), *red_at), RED)


def test_what_one_can_see_through_is_white() -> None:
    image = picture(left=(200, 30, 30, 255), right=(0, 0, 0, 0), mode="RGBA")
    made = opened(make_picture(encoded(image, "PNG")).whole)
    assert is_near(colour_at(made, 0.8, 0.5), (255, 255, 255))
    assert is_near(colour_at(made, 0.2, 0.5), RED)


@pytest.mark.parametrize("mode", ["L", "1", "P", "CMYK", "LA"])
def test_grey_indexed_and_printed_colours_are_taken(mode: str) -> None:
    kind = "JPEG" if mode == "CMYK" else "PNG"
    assert opened(make_picture(encoded(picture().convert(mode), kind)).whole).mode == "RGB"


def test_an_image_bomb_is_refused_before_it_is_unpacked() -> None:
    bomb = png_bomb(30_000, 30_000)
    assert len(bomb) < MOST_BYTES
    tracemalloc.start()
    assert "40 million pixels" in refusal(bomb)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 20 * 2**20


@pytest.mark.parametrize(("size", "is_taken"), [((8000, 5000), True), ((8000, 5001), False), ((10_000, 9_500), False)])
def test_forty_million_pixels_are_taken_and_no_more(size: tuple[int, int], is_taken: bool) -> None:
    data = png_bomb(*size)
    if is_taken:
        assert make_picture(data).width == 1600
    else:
        assert "40 million pixels" in refusal(data)


def test_eight_megabytes_are_taken_and_no_more() -> None:
    data = PLAIN["jpeg"]
    assert make_picture(data.ljust(MOST_BYTES, b"\0")).width == 64
    assert "8 MB" in refusal(data.ljust(MOST_BYTES + 1, b"\0"))


@pytest.mark.parametrize("kind", PLAIN)
@pytest.mark.parametrize("share", [0.5, 0.9])
def test_a_photo_that_was_cut_short_is_refused(kind: str, share: float) -> None:
    data = encoded(picture(600, 400).effect_spread(40), kind.upper())
    assert "damaged or cut short" in refusal(data[: int(len(data) * share)])


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"this is text, and calls itself picture.jpg",
        b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
        b"<?xml version='1.0'?><svg/>",
        b"GIF89a" + b"\0" * 40,
        b"%PDF-1.7",
        b"%!PS-Adobe-3.0 EPSF-3.0",
        encoded(picture(), "GIF"),
        encoded(picture(), "TIFF"),
        encoded(picture(), "BMP"),
    ],
    ids=["nothing", "text", "svg", "xml", "gif head", "pdf", "postscript", "gif", "tiff", "bmp"],
)
def test_what_is_no_jpeg_png_or_webp_is_refused(data: bytes) -> None:
    assert "JPEG, PNG or WebP" in refusal(data)


def test_a_heic_photo_is_refused_with_the_way_out() -> None:
    assert "Most compatible" in refusal(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 60)


def test_a_grey_of_sixteen_bits_is_refused_rather_than_whitened() -> None:
    assert "can be read here" in refusal(encoded(Image.new("I;16", (40, 30), 30_000), "PNG"))


@given(st.sampled_from(sorted(PLAIN)), st.data())
def test_no_spoilt_bytes_raise_anything_but_a_reason(kind: str, data: st.DataObject) -> None:
    spoilt = bytearray(PLAIN[kind])
    for _ in range(data.draw(st.integers(1, 12))):
        spoilt[data.draw(st.integers(0, len(spoilt) - 1))] = data.draw(st.integers(0, 255))
    assert outcome(bytes(spoilt)) in ("JPEG", {"photo"})


def outcome(data: bytes) -> str | set[str] | None:
    """The kind of picture that was made, or the fields that were refused."""
    try:
        return opened(make_picture(data).whole).format
    except Rejected as refused:
        return set(refused.fields)
