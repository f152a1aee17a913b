"""Pictures as images with an ETag: the same data gives the same bytes, so it is drawn once.

The tag is made from what the picture shows and from the drawing code itself, before anything is
drawn; there is nothing in it that could grow stale.
"""

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable
from functools import cache
from pathlib import Path
from urllib.parse import urlencode

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import Response

from app.core.analysis import MalformedReading, analyse_facing
from app.core.measurements import GaugesInUse
from app.core.readings import BladeStop, FacingReadings
from app.core.units import format_blade
from app.render.lines import profile_lines
from app.render.profile import BladeLevel, ProfileLine, ProfilePicture, draw_profile
from app.store.measurements import Measurement, get_measurement, list_measurements, standing
from app.store.shop import gauges_in_use
from app.web.pages import Reading, found_or_404

router = APIRouter()
KEPT_PICTURES = 200
OVERLAY_MM = (184.0, 80.0)
SVG = "image/svg+xml"


class _Drawn:
    """The pictures drawn last, by their tag."""

    def __init__(self, most: int) -> None:
        self._pictures: OrderedDict[str, bytes] = OrderedDict()
        self._lock = threading.Lock()
        self._most = most

    def get(self, tag: str, draw: Callable[[], bytes]) -> bytes:
        with self._lock:
            if tag in self._pictures:
                self._pictures.move_to_end(tag)
                return self._pictures[tag]
        drawn = draw()
        with self._lock:
            self._pictures[tag] = drawn
            while len(self._pictures) > self._most:
                self._pictures.popitem(last=False)
        return drawn


_drawn = _Drawn(KEPT_PICTURES)


@cache
def _code_fingerprint() -> bytes:
    found = hashlib.sha256()
    for path in sorted((Path(__file__).resolve().parent.parent / "render").glob("*.py")):
        found.update(path.read_bytes())
    return found.digest()


def answer_picture(
    request: Request, shown: object, draw: Callable[[], bytes], media_type: str = SVG
) -> Response:
    """Answer with a picture, or with 304 when the browser has it; `shown` is all it depends on."""
    tag = hashlib.sha256(_code_fingerprint() + repr(shown).encode()).hexdigest()[:32]
    headers = {"ETag": f'"{tag}"', "Cache-Control": "private, no-cache"}
    if f'"{tag}"' in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return Response(_drawn.get(tag, draw), media_type=media_type, headers=headers)


def blade_levels(gauges: GaugesInUse, *facings: FacingReadings) -> tuple[BladeLevel, ...]:
    """List the blades to draw: those of the set in use and those that were read."""
    gaps = {blade.gap_mm for blade in gauges.blades}
    gaps.update(stop.gap_mm for one in facings for stop in (*one.left, *one.right))
    return tuple(BladeLevel(gap, format_blade(gap)) for gap in sorted(gaps))


def compare_picture(
    before: FacingReadings | None,
    after: FacingReadings | None,
    gauges: GaugesInUse,
    size_mm: tuple[float, float] = OVERLAY_MM,
) -> ProfilePicture:
    """Lay out before and after over each other, both rails, in a given width and height."""
    lines: list[ProfileLine] = []
    if before is not None:
        lines += profile_lines("before", before, analyse_facing(before), "before")
    if after is not None:
        lines += profile_lines("after", after, analyse_facing(after), "after")
    facings = [one for one in (before, after) if one is not None]
    return ProfilePicture(
        lines=tuple(lines),
        blades=blade_levels(gauges, *facings),
        glass_mm_per_number=float(gauges.glass.mm_per_unit),
        width_mm=size_mm[0],
        height_mm=size_mm[1],
    )


def _one_picture(facing: FacingReadings, gauges: GaugesInUse, name: str = "") -> ProfilePicture:
    return ProfilePicture(
        lines=profile_lines(name, facing, analyse_facing(facing), "now"),
        blades=blade_levels(gauges, facing),
        glass_mm_per_number=float(gauges.glass.mm_per_unit),
        size="screen",
    )


def preview_address(facing: FacingReadings, gauges: GaugesInUse) -> str:
    """Give the address of a picture of readings that are not kept yet."""
    query = {
        "left": ",".join(map(_write_stop, facing.left)),
        "right": ",".join(map(_write_stop, facing.right)),
        "glass": gauges.glass.key,
    }
    if facing.tip_opening_mm is not None:
        query["tip"] = f"{facing.tip_opening_mm:.6g}"
    if facing.tip_u_mm is not None:
        query["tip_u"] = f"{facing.tip_u_mm:.4g}"
    return f"/pictures/profile.svg?{urlencode(query)}"


def _write_stop(stop: BladeStop) -> str:
    """Write a stop for an address: gap, position and, where it has its own, uncertainties."""
    told = (stop.gap_mm, stop.position_mm, stop.gap_u_mm, stop.position_u_mm)
    return ":".join(f"{one:.6g}" for one in told if one is not None)


def _stops(text: str) -> tuple[BladeStop, ...]:
    try:
        parts = [[float(one) for one in part.split(":")] for part in text.split(",") if part]
        if not all(len(part) in {2, 4} for part in parts):
            raise ValueError
        return tuple(BladeStop(*part) for part in parts[:60])
    except ValueError:
        raise HTTPException(422, "These are not readings.") from None


@router.get("/pictures/profile.svg")
def preview(
    request: Request,
    session: Reading,
    left: str = "",
    right: str = "",
    tip: float | None = None,
    tip_u: float | None = None,
) -> Response:
    """Draw readings given in the address; nothing is kept."""
    facing = FacingReadings(_stops(left), _stops(right), tip, tip_u)
    try:
        picture = _one_picture(facing, gauges_in_use(session))
    except MalformedReading as error:
        raise HTTPException(422, str(error)) from None
    return answer_picture(request, picture, lambda: draw_profile(picture))


@router.get("/readings/{set_id}/profile.svg")
def show(request: Request, session: Reading, set_id: int) -> Response:
    """Draw one reading set."""
    measurement = found_or_404(get_measurement(session, set_id), "There are no such readings.")
    picture = _one_picture(measurement.facing, gauges_in_use(session, measurement.blade_set_id))
    return answer_picture(request, picture, lambda: draw_profile(picture))


@router.get("/pieces/{piece_id}/profiles.svg")
def piece(request: Request, session: Reading, piece_id: int) -> Response:
    """Draw a piece's facings over each other: the one before thin, the last in ink."""
    sets = [
        one
        for one in standing(list_measurements(session, piece_id))
        if one.facing.left or one.facing.right
    ]
    picture = _overlay(sets[-2:], gauges_in_use(session))
    return answer_picture(request, picture, lambda: draw_profile(picture))


def _overlay(sets: list[Measurement], gauges: GaugesInUse) -> ProfilePicture:
    before = sets[0].facing if len(sets) > 1 else None
    after = sets[-1].facing if sets else None
    return compare_picture(before, after, gauges)
