"""Photographs are made again: upright, within bounds, and with nothing but their dots."""

import io

import pytest
from PIL import Image

from app.render.photos import SIDE_PX, SMALL_SIDE_PX, PhotoRefused, make_photo
from tests.photo_cases import SVG, photo, vast_png


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_each_kind_becomes_a_jpeg_whole_and_small(kind):
    made = make_photo(photo(kind, (3200, 1600)))
    whole, small = (Image.open(io.BytesIO(one)) for one in (made.content, made.small))
    assert whole.format == small.format == "JPEG"
    assert whole.size == (made.width_px, made.height_px) == (SIDE_PX, SIDE_PX // 2)
    assert small.size == (SMALL_SIDE_PX, SMALL_SIDE_PX // 2)


def test_a_picture_held_sideways_is_kept_upright_and_without_place_or_camera():
    sent = photo(orientation=6)
    assert b"Spying Camera" in sent
    made = make_photo(sent)
    for content in (made.content, made.small):
        assert b"Spying" not in content
        assert b"Exif" not in content
        kept = Image.open(io.BytesIO(content))
        assert not kept.getexif()
        assert kept.width < kept.height, "it was turned as the camera was held"
        # Turned right by a quarter: what was at the left is at the top.
        red, _, blue = kept.convert("RGB").getpixel((kept.width // 2, 5))
        assert red > blue


def test_what_is_see_through_becomes_white():
    stream = io.BytesIO()
    Image.new("RGBA", (64, 64), (0, 0, 0, 0)).save(stream, format="PNG")
    made = Image.open(io.BytesIO(make_photo(stream.getvalue()).content))
    assert min(made.getpixel((30, 30))) > 250


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (SVG, "no photograph that can be read here"),
        (b"%PDF-1.7 not a picture", "no photograph that can be read here"),
        (b"GIF89a" + b"\0" * 40, "no photograph that can be read here"),
        (photo()[:2000], "cut short"),
        (photo("PNG")[:400], "cut short"),
        (photo("WEBP")[:200], "cut short"),
        (vast_png(), "far more dots"),
        (photo(size=(8, 8)), "too small"),
        (b"\xff\xd8" + b"\0" * 24_000_000, "larger than 24 MB"),
    ],
)
def test_what_is_no_photograph_is_refused_in_words(content, words):
    with pytest.raises(PhotoRefused, match=words):
        make_photo(content)
