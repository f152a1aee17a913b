"""The cut along a rail: what is to come off it, where, by the shop's own glass numbers.

Two windows over one length. Above stands the gap, as in every profile: the rail now, after the
table step where there is one, and the target dotted; what must come off the rail is hatched
between. Below, the same cut by itself in µm, between the thin lines within which the gauges
place it. Hatching, dots and weight carry it all: nothing depends on colour.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from app.core.plan_values import StationCut
from app.core.readings import BladeStop
from app.core.units import format_number
from app.render.figures import (
    ACCENT,
    FAINT,
    GREY,
    INK,
    Kind,
    LineLook,
    Plot,
    Sheet,
    draw_sheet,
    line_height_mm,
    nice_ticks,
    text_width_mm,
    wrap_text,
)
from app.render.labels import Array, Box, Label, place_labels, spread
from app.render.profile import GLASS_WORDS, BladeLevel

CutRail = Literal["left", "right", "both"]
Size = Literal["screen", "paper", "pair", "small"]

SIZES_MM: dict[Size, tuple[float, float]] = {
    "screen": (210.0, 150.0),
    "paper": (184.0, 104.0),
    "pair": (184.0, 66.0),
    "small": (96.0, 132.0),
}
_EDGE_MM = 1.0
_LEFT_MM = 17.0
_TICK_MM = 1.2
_BETWEEN_MM = 9.0  # holds the lower window's caption
_HATCH_MM = 1.3
_SHOWN_UM = 2.0  # less is not worth a step of its own, nor a hatch
_LEAST_UM = 20.0

_NOW: dict[CutRail, LineLook] = {
    "left": LineLook(color=INK, width_pt=1.7, mark="o", mark_pt=6.2),
    "right": LineLook(
        color=INK, width_pt=1.7, dashes=(3.6, 2.0), mark="o", mark_pt=9.2, mark_open=True
    ),
    "both": LineLook(color=INK, width_pt=1.7, mark="o", mark_pt=6.2),
}
_AFTER_TABLE = LineLook(color=GREY, width_pt=0.8)
_TARGET = LineLook(color=ACCENT, width_pt=1.5, dashes=(1.0, 1.8))
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
    size: Size = "screen"

    @property
    def table_first(self) -> bool:
        """Tell whether the table step changes this rail."""
        return any(one.after_table_mm != one.now_mm for one in self.stations)


def draw_cut(picture: CutPicture, kind: Kind = "svg", dpi: int = 200) -> bytes:
    """Draw the cut as SVG or PNG."""
    width, height = SIZES_MM[picture.size]
    return draw_sheet(width, height, lambda sheet: compose_cut(sheet, picture), kind, dpi)


def compose_cut(sheet: Sheet, picture: CutPicture) -> None:
    """Draw the cut on a sheet of the picture's size."""
    upper, lower = _plots_of(sheet, picture)
    _draw_lengths(sheet, upper, lower, picture)
    names = _draw_gaps(sheet, upper, picture)
    _draw_blades(sheet, upper, picture.blades, names)
    _draw_cut(sheet, lower, picture)
    _draw_footer(sheet, lower, picture)


def _plots_of(sheet: Sheet, picture: CutPicture) -> tuple[Plot, Plot]:
    row = line_height_mm()
    told = [one for one in picture.stations if max(one.now_mm, one.final_mm) > 0.0]
    longest = max((one.position_mm for one in told), default=20.0) + 1.5
    widest = max(
        [0.1, picture.tip_mm or 0.0, *(max(one.now_mm, one.target_mm) for one in told)]
        + [blade.gap_mm for blade in picture.blades]
    )
    right = max([text_width_mm(one.label) for one in picture.blades] + [4.0]) + 3.5
    top = _EDGE_MM + 2 * row + _TICK_MM + 1.0
    bottom = _EDGE_MM + row * (2 + len(_footer(sheet, picture))) + _TICK_MM + 1.5
    width = sheet.width_mm - _LEFT_MM - right
    height = sheet.height_mm - top - bottom - _BETWEEN_MM
    low = 0.34 * height
    deepest = max(_LEAST_UM, float(np.max(_bounds_um(picture)[1], initial=0.0)))
    return (
        Plot(_LEFT_MM, bottom + low + _BETWEEN_MM, width, height - low,
             0.0, longest, -0.02 * widest, 1.06 * widest),
        Plot(_LEFT_MM, bottom, width, low, 0.0, longest, 0.0, 1.08 * deepest),
    )  # fmt: skip


def _bounds_um(picture: CutPicture) -> tuple[Array, Array]:
    """Give the least and the most that may have to come off, two deviations each way, in µm."""
    wanted = _column(picture, "target_mm") - _column(picture, "after_table_mm")
    u_mm = _column(picture, "u_mm")
    low, high = (np.maximum(0.0, 1000 * (wanted + sign * 2 * u_mm)) for sign in (-1, 1))
    return low, high


def _draw_lengths(sheet: Sheet, upper: Plot, lower: Plot, picture: CutPicture) -> None:
    """Write glass numbers along the top and mm along the bottom, one length for both windows."""
    row, strokes = line_height_mm(), []
    per_number = picture.glass_mm_per_number
    most = max(2, int(upper.width_mm / 9.0))
    for number in nice_ticks(0, upper.x_high / per_number, most):
        x = upper.x(number * per_number)
        strokes.append(((x, upper.top_mm), (x, upper.top_mm + _TICK_MM)))
        sheet.text(x, upper.top_mm + _TICK_MM + 0.9, format_number(number, 2), across="center")
    glass = GLASS_WORDS.get(per_number, f"glass, numbers of {format_number(per_number, 3)} mm")
    sheet.text(upper.left_mm, upper.top_mm + _TICK_MM + 0.9 + row, glass, color=GREY)
    for s_mm in nice_ticks(0, lower.x_high, most):
        x = lower.x(s_mm)
        strokes.append(((x, lower.bottom_mm), (x, lower.bottom_mm - _TICK_MM)))
        y = lower.bottom_mm - _TICK_MM - 0.6
        sheet.text(x, y, format_number(s_mm, 1), across="center", up="top")
    y = lower.bottom_mm - _TICK_MM - 0.6 - row
    sheet.text(lower.left_mm, y, "mm from the tip", color=GREY, up="top")
    for plot in (upper, lower):
        zero = plot.y(0.0)
        strokes.append(((plot.left_mm, zero), (plot.right_mm, zero)))
        strokes.append(((plot.left_mm, zero), (plot.left_mm, plot.top_mm)))
    strokes.append(((upper.left_mm, upper.top_mm), (upper.right_mm, upper.top_mm)))
    sheet.strokes(strokes, color=GREY, width_pt=0.5)
    _draw_scale(sheet, upper, "gap, mm", 0.0, decimals=1)
    caption = "to come off, µm" if upper.width_mm > 90 else "off, µm"
    _draw_scale(sheet, lower, caption, 2.2, decimals=0)


def _draw_scale(sheet: Sheet, plot: Plot, caption: str, raised_mm: float, decimals: int) -> None:
    row, strokes = line_height_mm(), []
    for value in nice_ticks(0.0, plot.y_high, max(2, int(plot.height_mm / 8.0))):
        y = plot.y(value)
        if raised_mm or plot.top_mm - y >= row:
            strokes.append(((plot.left_mm, y), (plot.left_mm - _TICK_MM, y)))
            sheet.text(
                plot.left_mm - 2.0, y, format_number(value, 2, least=decimals),
                across="right", up="center_baseline",
            )  # fmt: skip
    sheet.strokes(strokes, color=GREY)
    if raised_mm:
        sheet.text(plot.left_mm, plot.top_mm + raised_mm, caption, color=GREY)
    else:
        x = plot.left_mm - 2.0
        sheet.text(x, plot.top_mm, caption, color=GREY, across="right", up="center_baseline")


def _draw_gaps(sheet: Sheet, plot: Plot, picture: CutPicture) -> list[Box]:
    """Draw now, after the table, and the target, with the cut hatched; give the names' places."""
    s_mm = [one.position_mm for one in picture.stations]
    inside = [at for at, s in enumerate(s_mm) if s <= plot.x_high]

    def row(name: str) -> tuple[list[float], list[float]]:
        told = [(s_mm[at], getattr(picture.stations[at], name)) for at in inside]
        # beyond the break a rail is the table itself: its line ends there
        end = next((at for at, (_, gap) in enumerate(told) if gap <= 0.0), len(told) - 1)
        x, y = zip(*told[: end + 1], strict=True)
        return plot.place(x, y)

    low, high = _column(picture, "after_table_mm"), _column(picture, "final_mm")
    _hatch(sheet, plot, np.array(s_mm), low, high, _SHOWN_UM / 1000)
    now = _NOW[picture.rail]
    lines = [("now", now, row("now_mm")), ("target", _TARGET, row("target_mm"))]
    if picture.table_first:
        look = replace(_AFTER_TABLE, dashes=(5.4, 3.0)) if picture.rail == "right" else _AFTER_TABLE
        lines.insert(1, ("after the table", look, row("after_table_mm")))
    for place, (_, look, line) in enumerate(lines):
        sheet.line(*line, look, 2.0 + 0.1 * place)
    stops = [(stop.position_mm, stop.gap_mm) for stop in picture.stops]
    marks = list(zip(*plot.place(*zip(*stops, strict=True)), strict=True)) if stops else []
    if marks:
        sheet.marks(*plot.place(*zip(*stops, strict=True)), now, 3.2)
    if picture.tip_mm is not None:
        tip = LineLook(color=INK, mark="D", mark_pt=5.0)
        sheet.marks([plot.x(0.0)], [plot.y(picture.tip_mm)], tip, 3.4)
    return _write_names(sheet, plot, lines, marks, picture)


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


def _write_names(
    sheet: Sheet,
    plot: Plot,
    lines: Sequence[tuple[str, LineLook, tuple[list[float], list[float]]]],
    marks: Sequence[tuple[float, ...]],
    picture: CutPicture,
) -> list[Box]:
    rail = {"left": ", left rail", "right": ", right rail", "both": ", both rails"}[picture.rail]
    texts = [name + rail if name == "now" else name for name, _, _ in lines]
    labels = [
        Label(text_width_mm(text), line_height_mm(), np.column_stack(line))
        for text, (_, _, line) in zip(texts, lines, strict=True)
    ]
    area = Box(plot.left_mm + 1.0, plot.y(0.0) + 1.0, plot.right_mm, plot.top_mm - 0.8)
    levels = [plot.y(blade.gap_mm) for blade in picture.blades]
    places = place_labels(labels, area, np.array(marks).reshape(-1, 2), levels)
    for text, (_, look, _), place in zip(texts, lines, places, strict=True):
        sheet.strokes([place.leader], color=GREY, width_pt=0.45, layer=1.5)
        sheet.text(
            place.box.left if place.rightward else place.box.right,
            (place.box.bottom + place.box.top) / 2,
            text,
            color=look.color,
            across="left" if place.rightward else "right",
            up="center_baseline",
        )
    return [place.box for place in places]


def _draw_blades(
    sheet: Sheet, plot: Plot, blades: Sequence[BladeLevel], names: Sequence[Box]
) -> None:
    row = line_height_mm()
    heights = [plot.y(blade.gap_mm) for blade in blades]
    places = spread(heights, row, plot.bottom_mm, plot.top_mm - row)
    strokes = []
    for blade, height, place in zip(blades, heights, places, strict=True):
        start = plot.left_mm
        for box in sorted(names, key=lambda box: box.left):
            if box.bottom - 0.3 < height < box.top + 0.3:
                strokes.append(((start, height), (max(start, box.left - 0.8), height)))
                start = max(start, box.right + 0.8)
        strokes.append(((start, height), (plot.right_mm, height)))
        strokes.append(((plot.right_mm, height), (plot.right_mm + 2.0, place)))
        sheet.text(plot.right_mm + 2.5, place, blade.label, color=GREY, up="center_baseline")
    sheet.strokes(strokes, color=FAINT, width_pt=0.4, layer=0.5)


def _draw_cut(sheet: Sheet, plot: Plot, picture: CutPicture) -> None:
    s_mm, cut = _column(picture, "position_mm"), _column(picture, "cut_mm") * 1000
    _hatch(sheet, plot, s_mm, np.zeros_like(cut), cut, _SHOWN_UM)
    inside = s_mm <= plot.x_high
    sheet.line(*plot.place(s_mm[inside].tolist(), cut[inside].tolist()), _CUT, 2.2)
    for bound in _bounds_um(picture):
        sheet.line(*plot.place(s_mm[inside].tolist(), bound[inside].tolist()), _BOUND, 2.0)


def _column(picture: CutPicture, name: str) -> Array:
    return np.array([getattr(one, name) for one in picture.stations])


def _footer(sheet: Sheet, picture: CutPicture) -> list[str]:
    deepest = max((one.cut_mm for one in picture.stations), default=0.0) * 1000
    if deepest < _SHOWN_UM:
        texts = ["Nothing to come off here."]
    else:
        texts = ["Hatched: to come off the rail. Thin lines: as near as the gauges tell it."]
    wide = sheet.width_mm - _LEFT_MM - 2 * _EDGE_MM
    return [line for text in texts for line in wrap_text(text, wide, 3)]


def _draw_footer(sheet: Sheet, plot: Plot, picture: CutPicture) -> None:
    row = line_height_mm()
    top = plot.bottom_mm - _TICK_MM - 0.6 - 2 * row - 0.4
    for number, text in enumerate(_footer(sheet, picture)):
        sheet.text(plot.left_mm, top - row * number, text, color=GREY, up="top")
