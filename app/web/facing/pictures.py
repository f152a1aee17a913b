"""Pictures of readings: laid out from one set, from two, or from all that a piece has had."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app.core.compare.comparison import gap_uncertainties
from app.core.compare.differences import ReadSet
from app.core.facing.analysis import MalformedReading, analyse_facing
from app.core.facing.curves import CURVES
from app.core.facing.measurements import ROLES, GaugesInUse
from app.core.facing.wording import read_facing_length
from app.core.plan.facings import Target
from app.core.values.forms import short_date
from app.core.values.readings import BladeStop, DialReading, FacingReadings, Uncertainties
from app.core.values.units import format_blade
from app.render.difference import DifferencePicture, difference_lines
from app.render.history import HistoryPicture, HistoryPoint, draw_history
from app.render.lines import overlaid_lines, profile_lines
from app.render.looks import BladeLevel, ProfileLine, Rail, State
from app.render.profile import ProfilePicture, draw_profile, draw_straight_line
from app.render.residuals import ResidualPicture, draw_residuals, residuals_of
from app.render.scales import Size
from app.render.targets import target_lines
from app.store.records.facings import get_facing
from app.store.records.measurements import Measurement, get_measurement, list_measurements, standing
from app.store.records.shop import gauges_in_use
from app.store.tables import Job
from app.web.drawn import answer_picture
from app.web.pages import ReadOnly, found_or_404, job_or_404, piece_or_404
from app.web.plan.planning import last_read

router = APIRouter()


def _drawn_size(size: str = "") -> Size:
    return "small" if size == "small" else "card"


# "small" in a picture's address asks for the drawing for a narrow screen, its words as large.
DrawnSize = Annotated[Size, Depends(_drawn_size)]
OVERLAY_MM = (184.0, 80.0)
MOST_OVERLAID = 8
MOST_OVERLAID_SMALL = 5  # their names find no room beside each other
_STATES: tuple[State, State] = ("before", "after")
_RAILS: tuple[Rail, Rail] = ("left", "right")


def blade_levels(gauges: GaugesInUse, *facings: FacingReadings) -> tuple[BladeLevel, ...]:
    """List the blades to draw: those of the set in use and those that were read."""
    gaps = {blade.gap_mm for blade in gauges.blades}
    gaps.update(stop.gap_mm for facing in facings for stop in (*facing.left, *facing.right))
    return tuple(BladeLevel(gap, format_blade(gap)) for gap in sorted(gaps))


def with_dials(lines: Sequence[ProfileLine], facing: FacingReadings) -> tuple[ProfileLine, ...]:
    """Mark every dial reading on its rail's line, weighed in the fit or not."""
    marked = []
    for line in lines:
        dials = {"left": facing.dial_left, "right": facing.dial_right}.get(line.rail or "", ())
        stops = tuple(BladeStop(dial.gap_mm, dial.position_mm, dial=True) for dial in dials)
        blades = tuple(stop for stop in line.stops if not stop.dial)
        marked.append(replace(line, stops=(*blades, *stops)) if stops else line)
    return tuple(marked)


def compare_picture(
    before: FacingReadings | None,
    after: FacingReadings | None,
    gauges: GaugesInUse,
    size_mm: tuple[float, float] = OVERLAY_MM,
) -> ProfilePicture:
    """Lay out before and after over each other, both rails, in a given width and height."""
    lines: list[ProfileLine] = []
    if before is not None:
        lines += with_dials(
            profile_lines("before", before, analyse_facing(before), "before"), before
        )
    if after is not None:
        lines += with_dials(profile_lines("after", after, analyse_facing(after), "after"), after)
    facings = [facing for facing in (before, after) if facing is not None]
    return ProfilePicture(
        lines=tuple(lines),
        blades=blade_levels(gauges, *facings),
        glass_mm_per_number=float(gauges.glass.mm_per_unit),
        width_mm=size_mm[0],
        height_mm=size_mm[1],
    )


def side_by_side_picture(
    facings: tuple[FacingReadings, FacingReadings],
    names: tuple[str, str],
    gauges: GaugesInUse,
    size: Size = "screen",
) -> ProfilePicture:
    """Lay out two facings for the screen: the first thin, the second in ink."""
    first, second = _named_lines(facings, names)
    return ProfilePicture(
        lines=(*first, *second),
        blades=blade_levels(gauges, *facings),
        glass_mm_per_number=float(gauges.glass.mm_per_unit),
        size=size,
    )


def _named_lines(
    facings: tuple[FacingReadings, FacingReadings], names: tuple[str, str]
) -> tuple[tuple[ProfileLine, ...], tuple[ProfileLine, ...]]:
    before, after = (
        with_dials(profile_lines(name, facing, analyse_facing(facing), state), facing)
        for name, facing, state in zip(names, facings, _STATES, strict=True)
    )
    return before, after


def difference_picture(
    sets: tuple[ReadSet, ReadSet], against: str, gauges: GaugesInUse, size: Size = "card"
) -> DifferencePicture:
    """Lay out how far the second facing stands from the first, with what can't be told."""
    before, after = _named_lines((sets[0].facing, sets[1].facing), (against, ""))
    expanded_us = gap_uncertainties(*sets)
    lines = tuple(
        replace(
            line,
            marks=tuple(
                replace(mark, half_um=1000.0 * half_mm)
                if (half_mm := expanded_us.get((line.rail or "", round(mark.s_mm, 6))))
                else mark
                for mark in line.marks
            ),
        )
        for line in difference_lines(after, before)
    )
    return DifferencePicture(
        lines=lines,
        against=against,
        glass_mm_per_number=float(gauges.glass.mm_per_unit),
        size=size,
    )


def straight_line_picture(
    facing: FacingReadings, gauges: GaugesInUse, size: Size = "screen"
) -> ProfilePicture:
    """Lay out one set for the straight-line view: no gap below nothing has a root."""
    picture = _one_picture(facing, gauges, size)
    lines = tuple(
        replace(line, stops=tuple(stop for stop in line.stops if stop.gap_mm > 0))
        for line in picture.lines
    )
    return replace(picture, lines=lines)


def residual_picture(
    facing: FacingReadings, gauges: GaugesInUse, size: Size = "card"
) -> ResidualPicture:
    """Lay out the blades' residuals, each rail held to its chosen curve or the least bad one."""
    analysis = analyse_facing(facing)
    held: dict[Rail, str] = {}
    words = []
    for rail in _RAILS:
        judged = analysis.left if rail == "left" else analysis.right
        fits = judged.fits if judged else ()
        if judged is None or not fits:
            continue
        best = judged.chosen or max(fits, key=lambda fit: fit.p or 0.0).curve
        held[rail] = best
        kind = "" if judged.chosen else ", though it is refused"
        words.append(f"{rail.capitalize()} rail held to: {CURVES[best].label}{kind}.")
    levels = blade_levels(gauges, facing)
    blades = {level.gap_mm for level in levels}
    residuals = residuals_of(analysis, curves=held)
    return ResidualPicture(
        residuals=tuple(residual for residual in residuals if residual.gap_mm in blades),
        blades=levels,
        curves=tuple(words),
        glass_mm_per_number=float(gauges.glass.mm_per_unit),
        size=size,
    )


def history_picture(
    sets: Sequence[Measurement], gauges: GaugesInUse, size: Size = "card"
) -> HistoryPicture:
    """Lay out a piece's tip opening and facing length over the years."""
    points = tuple(
        HistoryPoint(
            kept.taken_on,
            ROLES[kept.role],
            kept.facing.tip_opening_mm,
            read_facing_length(kept.facing),
        )
        for kept in sets
    )
    return HistoryPicture(points, glass_mm_per_number=float(gauges.glass.mm_per_unit), size=size)


def overlay_picture(
    sets: Sequence[Measurement], gauges: GaugesInUse, size: Size = "screen"
) -> ProfilePicture:
    """Lay out a piece's facings over each other, oldest first, the newest in ink.

    What was read between two passes is no facing that the piece had; it counts only as the newest.
    """
    read = [kept for kept in sets if kept.facing.has_rails]
    facings = [kept for kept in read if kept.role != "at_the_bench" or kept is read[-1]]
    shown = facings[-(MOST_OVERLAID_SMALL if size == "small" else MOST_OVERLAID) :]
    named = [
        (
            f"{short_date(kept.taken_on)}, {ROLES[kept.role]}",
            kept.facing,
            analyse_facing(kept.facing),
        )
        for kept in shown
    ]
    left_out = len(facings) - len(shown)
    return ProfilePicture(
        lines=overlaid_lines(named),
        blades=blade_levels(gauges, *(kept.facing for kept in shown)),
        glass_mm_per_number=float(gauges.glass.mm_per_unit),
        notes=(f"The {left_out} oldest are left out.",) if left_out else (),
        size=size,
    )


def _one_picture(
    facing: FacingReadings, gauges: GaugesInUse, size: Size, name: str = ""
) -> ProfilePicture:
    return ProfilePicture(
        lines=with_dials(profile_lines(name, facing, analyse_facing(facing), "now"), facing),
        blades=blade_levels(gauges, facing),
        glass_mm_per_number=float(gauges.glass.mm_per_unit),
        size=size,
    )


def preview_address(
    facing: FacingReadings,
    gauges: GaugesInUse,
    job: Job | None = None,
    facing_id: int | None = None,
) -> str:
    """The address of a picture of readings not kept yet, beside their job's and a target."""
    query: dict[str, object] = {} if job is None else {"job": job.number}
    query |= {} if facing_id is None else {"target": facing_id}
    query |= {
        "left": ",".join(map(_write_stop, facing.left)),
        "right": ",".join(map(_write_stop, facing.right)),
        "glass": gauges.glass.key,
    }
    if facing.tip_opening_mm is not None:
        query["tip"] = f"{facing.tip_opening_mm:.6g}"
    if facing.tip_u_mm is not None:
        query["tip_u"] = f"{facing.tip_u_mm:.4g}"
    for rail in _RAILS:
        if dials := getattr(facing, f"dial_{rail}"):
            pairs = (f"{dial.position_mm:.6g}:{dial.gap_mm:.6g}" for dial in dials)
            query[f"dial_{rail}"] = ",".join(pairs)
    return f"/pictures/profile.svg?{urlencode(query)}"


def _write_stop(stop: BladeStop) -> str:
    """Write a stop for an address: gap, position and, where it has its own, uncertainties."""
    numbers = (stop.gap_mm, stop.position_mm, stop.gap_u_mm, stop.position_u_mm)
    return ":".join(f"{number:.6g}" for number in numbers if number is not None)


def _numbers(text: str, lengths: set[int]) -> list[list[float]]:
    """Read a list of readings from an address, each of so many numbers."""
    try:
        parts = [[float(number) for number in part.split(":")] for part in text.split(",") if part]
        if not all(len(part) in lengths for part in parts):
            raise ValueError
        return parts[:60]
    except ValueError:
        raise HTTPException(422, "These are not readings.") from None


def _stops(text: str) -> tuple[BladeStop, ...]:
    parts = [(*part, None, None)[:4] for part in _numbers(text, {2, 4})]
    return tuple(
        BladeStop(gap or 0.0, position or 0.0, gap_u, position_u)
        for gap, position, gap_u, position_u in parts
    )


@router.get("/pictures/profile.svg")
def preview(
    request: Request,
    session: ReadOnly,
    left: str = "",
    right: str = "",
    dial_left: str = "",
    dial_right: str = "",
    tip: float | None = None,
    tip_u: float | None = None,
    job: int | None = None,
    target: int | None = None,
    size: str = "screen",
) -> Response:
    """Draw readings given in the address, beside their job's last and a target; nothing is kept.

    Without any it is the job's last reading alone.
    """
    facing = FacingReadings(
        _stops(left),
        _stops(right),
        tip,
        tip_u,
        tuple(DialReading(*part) for part in _numbers(dial_left, {2})),
        tuple(DialReading(*part) for part in _numbers(dial_right, {2})),
    )
    gauges = gauges_in_use(session)
    drawn: Size = "small" if size == "small" else "bench" if job or target else "screen"
    last, wanted = _last_of(session, job), get_facing(session, target)
    aim = wanted.target if wanted else None
    try:
        return answer_picture(
            request,
            ("profile", facing, last, aim, gauges, drawn),
            lambda: draw_profile(_bench_picture(facing, last, aim, gauges, drawn)),
        )
    except MalformedReading as error:
        raise HTTPException(422, str(error)) from None


def _last_of(session: Session, number: int | None) -> FacingReadings | None:
    """A job's last reading."""
    if number is None:
        return None
    job = job_or_404(session, number)
    last = last_read(job)
    return last.facing if last else None


def _bench_picture(
    facing: FacingReadings,
    last: FacingReadings | None,
    target: Target | None,
    gauges: GaugesInUse,
    size: Size,
) -> ProfilePicture:
    """Lay out what is typed in ink over the last reading; the target dotted, the rest hatched."""
    shown, before = (facing, last) if facing.has_rails else (last, None)
    lines = profile_lines("last", before, analyse_facing(before), "before") if before else ()
    wanted = target_lines(target, "target", Uncertainties()) if target else ()
    name = "now" if before or last is None else "last"
    picture = (
        _one_picture(shown, gauges, size, name) if shown else ProfilePicture((), size="screen")
    )
    return replace(
        picture,
        lines=(*lines, *wanted, *picture.lines),
        blades=blade_levels(gauges, *(drawn for drawn in (shown, last) if drawn)),
        glass_mm_per_number=float(gauges.glass.mm_per_unit),
        size=size,
        hatched=bool(wanted),
    )


def _facing_and_gauges(session: Session, set_id: int) -> tuple[FacingReadings, GaugesInUse]:
    measurement = found_or_404(get_measurement(session, set_id), "There are no such readings.")
    return measurement.facing, gauges_in_use(session, measurement.blade_set_id)


@router.get("/readings/{set_id}/profile.svg")
def show(request: Request, session: ReadOnly, set_id: int, size: DrawnSize) -> Response:
    """Draw one reading set."""
    shown = *_facing_and_gauges(session, set_id), size
    return answer_picture(request, ("profile", shown), lambda: draw_profile(_one_picture(*shown)))


@router.get("/readings/{set_id}/straight-line.svg")
def straight_line(request: Request, session: ReadOnly, set_id: int, size: DrawnSize) -> Response:
    """Draw one reading set with the gap on a root scale."""
    shown = *_facing_and_gauges(session, set_id), size
    return answer_picture(
        request, ("straight", shown), lambda: draw_straight_line(straight_line_picture(*shown))
    )


@router.get("/readings/{set_id}/residuals.svg")
def residuals(request: Request, session: ReadOnly, set_id: int, size: DrawnSize) -> Response:
    """Draw how far each blade of one set stopped from its rail's curve."""
    shown = *_facing_and_gauges(session, set_id), size
    return answer_picture(
        request, ("residuals", shown), lambda: draw_residuals(residual_picture(*shown))
    )


def _sets_of(session: Session, piece_id: int) -> list[Measurement]:
    piece_or_404(session, piece_id)
    return standing(list_measurements(session, piece_id))


def _tell(sets: Sequence[Measurement], gauges: GaugesInUse) -> tuple[object, ...]:
    """All that a picture of several sets hangs on."""
    return (*((kept.taken_on, kept.role, kept.facing) for kept in sets), gauges)


@router.get("/pieces/{piece_id}/history.svg")
def history(request: Request, session: ReadOnly, piece_id: int, size: DrawnSize) -> Response:
    """Draw a piece's tip opening and facing length over the years."""
    sets, gauges = _sets_of(session, piece_id), gauges_in_use(session)
    return answer_picture(
        request,
        ("history", _tell(sets, gauges), size),
        lambda: draw_history(history_picture(sets, gauges, size)),
    )


@router.get("/pieces/{piece_id}/overlay.svg")
def overlay(request: Request, session: ReadOnly, piece_id: int, size: DrawnSize) -> Response:
    """Draw all facings a piece has had over each other."""
    sets, gauges = _sets_of(session, piece_id), gauges_in_use(session)
    return answer_picture(
        request,
        ("overlay", _tell(sets, gauges), size),
        lambda: draw_profile(overlay_picture(sets, gauges, size)),
    )
