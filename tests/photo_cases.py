"""Files as a telephone, a camera and a rogue would send them."""

import io
import struct
import zlib

from PIL import Image


def photo(kind="JPEG", size=(640, 480), *, color=(180, 120, 60), orientation=None, **save) -> bytes:
    """Make a picture: its left half of one colour, its right half of another."""
    image = Image.new("RGB", size, color)
    image.paste((20, 40, 90), (size[0] // 2, 0, *size))
    if orientation:
        exif = Image.Exif()
        exif[0x0112] = orientation  # how the camera was held
        exif[0x010F] = "Spying Camera"
        exif[0x8825] = {1: "N", 2: (53.0, 12.0, 1.0)}  # the place
        save["exif"] = exif
    stream = io.BytesIO()
    image.save(stream, format=kind, **save)
    return stream.getvalue()


def vast_png() -> bytes:
    """Make a small file that says it has ten thousand million dots."""

    def part(name: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        )

    head = struct.pack(">IIBBBBB", 100_000, 100_000, 8, 2, 0, 0, 0)
    dots = zlib.compress(b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + part(b"IHDR", head) + part(b"IDAT", dots) + part(b"IEND", b"")


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
