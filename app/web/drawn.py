"""Answers with pictures and a tag (ETag): the same data gives the same bytes, drawn once.

The tag is made from all that a picture hangs on and from this program's code, before anything is
fitted or drawn; there is nothing in it that could grow stale.
"""

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable
from functools import cache
from pathlib import Path

from fastapi import Request
from fastapi.responses import Response

from app.render.dark import in_the_dark

KEPT_BYTES = 64_000_000
SVG = "image/svg+xml"


class _Drawn:
    """The pictures drawn last, by their tag."""

    def __init__(self, most: int) -> None:
        self._pictures: OrderedDict[str, bytes] = OrderedDict()
        self._lock = threading.Lock()
        self._most, self._held = most, 0  # bytes

    def get(self, tag: str, draw: Callable[[], bytes]) -> bytes:
        with self._lock:
            if tag in self._pictures:
                self._pictures.move_to_end(tag)
                return self._pictures[tag]
        drawn = draw()
        with self._lock:
            self._held += len(drawn) - len(self._pictures.pop(tag, b""))
            self._pictures[tag] = drawn
            while self._held > self._most:
                self._held -= len(self._pictures.popitem(last=False)[1])
        return drawn


_drawn = _Drawn(KEPT_BYTES)


@cache
def _code_fingerprint() -> bytes:
    """Tell this program's code from any other that might fit or draw otherwise."""
    hashed = hashlib.sha256()
    for path in sorted(Path(__file__).resolve().parent.parent.glob("*/**/*.py")):
        hashed.update(path.read_bytes())
    return hashed.digest()


def answer_picture(
    request: Request, shown: object, draw: Callable[[], bytes], media_type: str = SVG
) -> Response:
    """Answer with a picture, or with 304 when the browser has it; `shown` is all it depends on."""
    tag = hashlib.sha256(_code_fingerprint() + repr(shown).encode()).hexdigest()[:32]
    # A weak tag: the bytes sent may be compressed or not.
    headers = {"ETag": f'W/"{tag}"', "Cache-Control": "private, no-cache"}
    if f'"{tag}"' in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers={**headers, "Vary": "Accept-Encoding"})
    picture = _drawn.get(tag, lambda: in_the_dark(draw()))
    return Response(picture, media_type=media_type, headers=headers)
