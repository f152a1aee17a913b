"""The cut along a rail: what is to come off it, where, by the shop's own glass numbers.

Two windows over one length. Above stands the gap, as in every profile: the rail now, after the
table step where there is one, and the target dotted; what must come off the rail is hatched
between. Below, the same cut by itself in hundredths of a millimetre, between the thin lines within
which the gauges place it. What was not read is shaded by slanting strokes. Hatching, dots and
weight carry it all: nothing depends on colour.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from app.core.plan.plan_tables import find_unread
from app.core.plan.plan_values import StationCut
from app.core.values.readings import BladeStop
from app.core.values.units import format_number
from app.render.figures import (
    ACCENT,
    GREY,
    INK,
    LineLook,
    Plot,
    Sheet,
    nice_ticks,
)
from app.render.labels import Array, Box
from app.render.looks import STATE_LOOKS, BladeLevel, ProfileLine, Rail, look_of
from app.render.names import NamedLine, write_names
from app.render.scales import (
    Margins,
    draw_footer,
    draw_glass_scale,
    draw_left_scale,
    draw_levels,
    draw_lower_scale,
    drawer,
    lay_margins,
    shade_unread,
)

CutRail = Literal["left", "right", "both"]
CutSize = Literal["screen", "paper", "pair", "small"]

SIZES_MM: dict[CutSize, tuple[float, float]] = {
    "screen": (140.0, 112.0),
    "paper": (184.0, 104.0),
    "pair": (91.0, 74.0),
    "small": (96.0, 132.0),
}
_BETWEEN_MM = 9.0  # holds the lower window's caption
_LOWER_SHARE = 0.34
SAID = "Hatched: to come off the rail. Thin lines: as near as the gauges tell it."
_HATCH_MM = 1.3
_SHOWN = 0.2  # less is not worth a step of its own, nor a hatch
_LEAST = 2.0
_RAIL_WORDS = {"left": ", left rail", "right": ", right rail", "both": ", both rails"}

_AFTER_TABLE = LineLook(color=GREY, width_pt=0.8)
_CUT = LineLook(color=INK, width_pt=1.2)
_BOUND = LineLook(color=GREY, width_pt=0.6)


@dataclass(frozen=True, slots=True)
class CutPicture:
    """One rail's cut, or both rails' where they are alike; `stops` are the readings now."""

    rail: CutRail
    stations: tuple[StationCut, ...]
    stops: tuple[BladeStop, ...]
    tip_mm: float | None
    blades: tuple[BladeLevel, ...] = ()
    glass_mm_per_number: float = 0.5
    size: CutSize = "screen"

    @property
    def table_first(self) -> bool:
        """Tell whether the table step changes this rail."""
        return any(station.after_table_mm != station.now_mm for station in self.stations)

    def column(self, name: str) -> Array:
        """One column of the stations."""
        return np.array([getattr(station, name) for station in self.stations])

    def bounds_hundredths(self) -> tuple[Array, Array]:
        """The least and the most that may have to come off, two deviations each way."""
        wanted = self.column("target_mm") - self.column("after_table_mm")
        u_mm = self.column("u_mm")
        low, high = (np.maximum(0.0, 100 * (wanted + sign * 2 * u_mm)) for sign in (-1, 1))
        return low, high


def compose_cut(sheet: Sheet, picture: CutPicture) -> None:
    """Draw the cut on a sheet of the picture's size."""
    margins = lay_margins(
        sheet,
        footer=[_say_hatching(picture)],
        beside=["blade", *(blade.label for blade in picture.blades)],
        glass=True,
    )
    upper, lower = _plots_of(sheet, margins, picture)
    draw_glass_scale(sheet, upper, picture.glass_mm_per_number)
    draw_lower_scale(sheet, lower, "mm from the tip")
    draw_footer(sheet, lower, margins)
    for unread in find_unread(picture.stations, picture.stops, picture.tip_mm):
        shade_unread(sheet, upper, unread)
    _draw_gap_scale(sheet, upper)
    _draw_depth_scale(sheet, lower)
    names = _draw_gaps(sheet, upper, picture)
    levels = [(blade.gap_mm, blade.label) for blade in picture.blades]
    draw_levels(sheet, upper, levels, names, "blade")
    _draw_cut(sheet, lower, picture)


draw_cut = drawer(compose_cut, SIZES_MM)


def _say_hatching(picture: CutPicture) -> str:
    if max((station.cut_mm for station in picture.stations), default=0.0) * 100 < _SHOWN:
        return "Nothing to come off here."
    shaded = find_unread(picture.stations, picture.stops, picture.tip_mm)
    return SAID + (" Slanting strokes: not read." if shaded else "")


def _plots_of(sheet: Sheet, margins: Margins, picture: CutPicture) -> tuple[Plot, Plot]:
    open_ones = [
        station for station in picture.stations if max(station.now_mm, station.final_mm) > 0.0
    ]
    longest = max((station.position_mm for station in open_ones), default=20.0) + 1.5
    gaps = [gap for station in open_ones for gap in (station.now_mm, station.target_mm)]
    widest = max([0.1, picture.tip_mm or 0.0, *gaps, *(blade.gap_mm for blade in picture.blades)])
    deepest = max(_LEAST, float(np.max(picture.bounds_hundredths()[1], initial=0.0)))
    left, width = margins.left_mm, sheet.width_mm - margins.left_mm - margins.right_mm
    height = sheet.height_mm - margins.top_mm - margins.bottom_mm - _BETWEEN_MM
    low = (_LOWER_SHARE if height > 60 else 0.5) * height
    bottom = margins.bottom_mm + low + _BETWEEN_MM
    return (
        Plot(left, bottom, width, height - low, 0.0, longest, 0.0, 1.08 * widest),
        Plot(left, margins.bottom_mm, width, low, 0.0, longest, 0.0, 1.08 * deepest),
    )


def _draw_gap_scale(sheet: Sheet, plot: Plot) -> None:
    ticks = nice_ticks(0.0, plot.y_high, max(2, int(plot.height_mm / 8.0)))
    draw_left_scale(sheet, plot, "gap, mm", ticks, lambda value: format_number(value, 2, least=1))
    sheet.strokes([((plot.left_mm, plot.bottom_mm), (plot.right_mm, plot.bottom_mm))], color=GREY)


def _draw_depth_scale(sheet: Sheet, plot: Plot) -> None:
    """Write the cut's scale; its caption stands above, where two windows leave room for it."""
    ticks = nice_ticks(0.0, plot.y_high, max(2, int(plot.height_mm / 7.0)))
    draw_left_scale(sheet, plot, "", ticks, lambda value: format_number(value, 1))
    sheet.text(plot.left_mm, plot.top_mm + 2.0, "to come off, 0.01 mm", color=GREY)


def _draw_gaps(sheet: Sheet, plot: Plot, picture: CutPicture) -> list[Box]:
    """Draw now, after the table, and the target, with the cut hatched; give the names' places."""
    s_mm = picture.column("position_mm")
    low, high = picture.column("after_table_mm"), picture.column("final_mm")
    _hatch(sheet, plot, s_mm, low, high, _SHOWN / 100)
    now = _look_now(picture.rail)
    lines = [
        ("now" + _RAIL_WORDS[picture.rail], now, "now_mm"),
        ("target", STATE_LOOKS["target"], "target_mm"),
    ]
    if picture.table_first:
        look = replace(_AFTER_TABLE, dashes=(5.4, 3.0)) if picture.rail == "right" else _AFTER_TABLE
        lines.insert(1, ("after the table", look, "after_table_mm"))
    named = []
    for name, look, column in lines:
        x_mm, y_mm = _trace(plot, s_mm, picture.column(column))
        sheet.line(x_mm, y_mm, look, 2.2)
        plain = look if name.startswith("now") else replace(look, mark=None)
        named.append(NamedLine(x_mm, y_mm, plain, _one_line(name)))
    stops = [(plot.x(stop.position_mm), plot.y(stop.gap_mm)) for stop in picture.stops]
    if stops:
        sheet.marks([x for x, _ in stops], [y for _, y in stops], now, 3.2)
    if picture.tip_mm is not None:
        tip = LineLook(color=INK, mark="D", mark_pt=5.0)
        sheet.marks([plot.x(0.0)], [plot.y(picture.tip_mm)], tip, 3.4)
    area = Box(plot.left_mm + 1.0, plot.bottom_mm + 1.0, plot.right_mm, plot.top_mm - 0.8)
    return write_names(
        sheet, area, named, stops, [plot.y(blade.gap_mm) for blade in picture.blades]
    )


def _one_line(name: str) -> Callable[[float, int], list[str]]:
    return lambda _width_mm, _most_lines: [name]


def _look_now(rail: CutRail) -> LineLook:
    side: Rail = "right" if rail == "right" else "left"
    return look_of(ProfileLine("now", (), None, (), (), side, "now"))


def _trace(plot: Plot, s_mm: Array, gap_mm: Array) -> tuple[list[float], list[float]]:
    """Place a rail's line; beyond the break the rail is the table itself, and the line ends."""
    closed = np.flatnonzero((gap_mm <= 0.0) | (s_mm > plot.x_high))
    end = int(closed[0]) + 1 if closed.size else len(s_mm)
    return plot.place(s_mm[:end].tolist(), gap_mm[:end].tolist())


def _hatch(sheet: Sheet, plot: Plot, s_mm: Array, low: Array, high: Array, least: float) -> None:
    """Hatch upright between two rows of values, where they are at least `least` apart."""
    step = _HATCH_MM * (plot.x_high - plot.x_low) / plot.width_mm
    strokes = []
    for s in np.arange(step / 2, min(plot.x_high, float(s_mm[-1])), step):
        ends = float(np.interp(s, s_mm, low)), float(np.interp(s, s_mm, high))
        if ends[1] - ends[0] >= least:
            x = plot.x(float(s))
            strokes.append(((x, plot.y(ends[0])), (x, plot.y(ends[1]))))
    sheet.strokes(strokes, color=ACCENT, width_pt=0.7, layer=1.6)


def _draw_cut(sheet: Sheet, plot: Plot, picture: CutPicture) -> None:
    s_mm, cut = picture.column("position_mm"), picture.column("cut_mm") * 100
    _hatch(sheet, plot, s_mm, np.zeros_like(cut), cut, _SHOWN)
    inside = s_mm <= plot.x_high
    sheet.line(*plot.place(s_mm[inside].tolist(), cut[inside].tolist()), _CUT, 2.2)
    for bound in picture.bounds_hundredths():
        sheet.line(*plot.place(s_mm[inside].tolist(), bound[inside].tolist()), _BOUND, 2.0)
