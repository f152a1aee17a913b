"""A target as lines to draw: dotted, as in every picture."""

from typing import Literal

from app.core.facing.stations import RailLine, make_stations
from app.core.plan.facings import PlainFacing, Target, draw_target, target_stops
from app.core.values.readings import Uncertainties
from app.render.looks import ProfileLine

FURTHEST_MM = 60.0
_RAILS: tuple[Literal["left", "right"], ...] = ("left", "right")


def target_lines(
    target: Target, name: str, uncertainties: Uncertainties
) -> tuple[ProfileLine, ...]:
    """Make a target's lines: one for a plain facing, one per rail for readings.

    Raises MalformedReading for a target that cannot be drawn.
    """
    stations = make_stations(FURTHEST_MM, ())
    if isinstance(target, PlainFacing):
        line = draw_target(target, "left", stations, uncertainties)
        return (_target_line(target, line, name, None),)
    return tuple(
        _target_line(target, draw_target(target, rail, stations, uncertainties), name, rail)
        for rail in _RAILS
        if getattr(target, rail)
    )


def _target_line(
    target: Target, line: RailLine, name: str, rail: Literal["left", "right"] | None
) -> ProfileLine:
    inside = line.stations_mm <= line.break_mm
    return ProfileLine(
        name=name,
        stops=target_stops(target, rail) if rail else (),
        tip_opening_mm=target.tip_opening_mm,
        curve_s_mm=tuple(line.stations_mm[inside].tolist()),
        curve_gap_mm=tuple(line.gap_mm[inside].tolist()),
        rail=rail,
        state="target",
    )
