"""Photographs made again from their dots: nothing else of the file that came in is kept.

A file from outside is only ever decoded by Pillow as one of three kinds, with its size looked at
before its dots are. What is kept is a new JPEG, turned as the camera was held, without the place,
the time and the device that cameras write into their files.
"""

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL import Image

MOST_BYTES = 24_000_000
# A JPEG is decoded smaller at once; other kinds must be held whole, at 4 bytes a dot and more.
MOST_PIXELS = {"JPEG": 120_000_000, "PNG": 24_000_000, "WEBP": 24_000_000}
KINDS = ("JPEG", "PNG", "WEBP")
SIDE_PX = 2400
SMALL_SIDE_PX = 640


class PhotoRefused(Exception):  # noqa: N818 - a refusal in words
    """The file can't be kept as a photograph; the message says why."""


@dataclass(frozen=True, slots=True)
class MadePhoto:
    """A photograph as it is kept: JPEG, whole and small."""

    width_px: int
    height_px: int
    content: bytes
    small: bytes


def make_photo(content: bytes) -> MadePhoto:
    """Make a photograph of a file's content; raises PhotoRefused in words."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    if not content:
        raise PhotoRefused("is empty")
    if len(content) > MOST_BYTES:
        raise PhotoRefused(f"is larger than {MOST_BYTES // 1_000_000} MB")
    try:
        with Image.open(io.BytesIO(content), formats=KINDS) as opened:
            most = MOST_PIXELS[opened.format or "PNG"]
            if opened.width * opened.height > most:
                raise PhotoRefused(
                    f"has more than {most // 1_000_000} million dots; send it smaller, or as JPEG"
                )
            if opened.width < 16 or opened.height < 16:
                raise PhotoRefused("is too small to show anything")
            opened.draft("RGB", (SIDE_PX, SIDE_PX))
            opened.load()
            turned = ImageOps.exif_transpose(opened)
    except PhotoRefused:
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise PhotoRefused("has far more dots than a photograph") from None
    except UnidentifiedImageError:
        raise PhotoRefused(
            "is no photograph that can be read here; send JPEG, PNG or WebP"
        ) from None
    except (OSError, SyntaxError, ValueError, EOFError, MemoryError):
        raise PhotoRefused("is damaged or was cut short on its way; send it again") from None
    turned.thumbnail(
        (SIDE_PX, SIDE_PX), Image.Resampling.LANCZOS
    )  # first, so that little is copied
    plain = _on_white(turned)
    width, height = plain.size
    whole = _jpeg(plain)
    plain.thumbnail((SMALL_SIDE_PX, SMALL_SIDE_PX), Image.Resampling.LANCZOS)
    return MadePhoto(width, height, whole, _jpeg(plain))


def _on_white(image: "Image.Image") -> "Image.Image":
    from PIL import Image

    if image.mode in {"RGBA", "LA", "PA"} or "transparency" in image.info:
        image = image.convert("RGBA")
        sheet = Image.new("RGB", image.size, "white")
        sheet.paste(image, mask=image.getchannel("A"))
        return sheet
    # A new picture: what was written beside the dots stays behind.
    sheet = Image.new("RGB", image.size)
    sheet.paste(image.convert("RGB"))
    return sheet


def _jpeg(image: "Image.Image") -> bytes:
    stream = io.BytesIO()
    image.save(stream, format="JPEG", quality=86, optimize=True)
    return stream.getvalue()
