"""The map of effort: tip opening across, facing length up, lines along which a reed closes alike.

The line through the lay now is thick; harder ones are thin and whole, easier ones dashed. What
rails alone can reach is hatched upright. Nothing depends on colour.
"""

from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt

from app.core.plan.effort_map import EffortMap
from app.core.values.units import format_number
from app.render.figures import (
    ACCENT,
    FAINT,
    GREY,
    INK,
    LineLook,
    Plot,
    Sheet,
    line_height_mm,
    nice_ticks,
    text_width_mm,
)
from app.render.labels import Array, Box
from app.render.scales import (
    Picture,
    draw_left_scale,
    draw_lower_scale,
    drawer,
    lay_plot,
)

_AS_NOW = LineLook(color=INK, width_pt=2.0)
_HARDER = LineLook(color=INK, width_pt=0.8)
_EASIER = LineLook(color=INK, width_pt=0.8, dashes=(6.0, 3.5))
_NOW = LineLook(color=INK, mark="o", mark_pt=7.0)
_TARGET = LineLook(color=ACCENT, width_pt=1.4, mark="D", mark_pt=7.0, mark_open=True)
_HATCH_MM = 1.8
_MOST_LINES = 12


@dataclass(frozen=True, slots=True)
class EffortPicture(Picture):
    """The map."""

    map: EffortMap


def compose_effort_map(sheet: Sheet, picture: EffortPicture) -> None:
    """Draw the map on a sheet of the picture's size."""
    shown = picture.map
    footer = (
        "Along each line the same reed closes alike: so many per cent harder (+) or easier (−) "
        "than now, while the curve keeps its kind. Hatched: what rails alone can reach, both alike."
    )
    tips, lengths = shown.tips_mm, shown.lengths_mm
    edges = (tips[0], tips[-1]), (lengths[0], lengths[-1])
    plot = lay_plot(sheet, *edges, footer=[footer], above_rows=2)
    draw_lower_scale(sheet, plot, "tip opening, mm")
    ticks = nice_ticks(plot.y_low, plot.y_high, max(2, int(plot.height_mm / 9.0)))
    draw_left_scale(sheet, plot, "", ticks, lambda value: format_number(value, 1))
    sheet.text(1.0, plot.top_mm + 2.5, "facing length, mm", color=GREY)
    lines = _trace_lines(plot, shown)
    names = _name_points(sheet, plot, shown)
    for percent, line in lines:
        names += _name_line(sheet, plot, percent, line, names)
    for percent, line in lines:
        look = _AS_NOW if percent == 0 else _HARDER if percent > 0 else _EASIER
        for part in _clear_of(line, names):
            sheet.line(part[:, 0].tolist(), part[:, 1].tolist(), look, 2.0)
    _hatch(sheet, plot, shown, names)


draw_effort_map = drawer(compose_effort_map)


def _trace_lines(plot: Plot, shown: EffortMap) -> list[tuple[int, Array]]:
    """Trace the lines of equal effort on the sheet, in round steps of per cent."""
    from contourpy import contour_generator

    percent = np.array(shown.percent)
    step = next((size for size in (2, 5, 10, 20) if np.ptp(percent) / size <= _MOST_LINES), 50)
    generator = contour_generator(shown.tips_mm, shown.lengths_mm, percent)
    levels = range(step * round(float(percent.min()) / step), round(float(percent.max())) + 1, step)
    traced = []
    for level in levels:
        for line in cast(list[Array], generator.lines(float(level))):
            x_mm, y_mm = plot.place(line[:, 0].tolist(), line[:, 1].tolist())
            if len(x_mm) > 2:
                traced.append((level, np.column_stack([x_mm, y_mm])))
    return traced


def _name_points(sheet: Sheet, plot: Plot, shown: EffortMap) -> list[Box]:
    """Mark now and target, each named on the side away from the other; return the places taken."""
    points = [(shown.now, "now", _NOW)]
    if shown.target is not None:
        points.append((shown.target, "target", _TARGET))
    taken = []
    for at, (point, name, look) in enumerate(points):
        x, y = plot.x(point[0]), plot.y(point[1])
        sheet.marks([x], [y], look, 4.0)
        left = len(points) > 1 and point[0] <= points[1 - at][0][0] and at == 0
        width = text_width_mm(name, bold=True)
        start = x - 2.6 - width if left else x + 2.6
        sheet.text(start, y, name, bold=True, color=look.color, up="center")
        half = line_height_mm() / 2
        taken.append(Box(start - 0.6, y - half, start + width + 0.6, y + half))
        taken.append(Box(x - 1.8, y - 1.8, x + 1.8, y + 1.8))
    return taken


def _name_line(sheet: Sheet, plot: Plot, percent: int, line: Array, taken: list[Box]) -> list[Box]:
    """Write a line's per cent into it where there is room, near the falling diagonal.

    Returns the place taken, if there was any.
    """
    words = "as now" if percent == 0 else f"{percent:+d} %".replace("-", "−")
    half_wide, half = text_width_mm(words) / 2 + 0.8, line_height_mm() / 2
    x, y = line.T
    room = Box(plot.left_mm, plot.bottom_mm, plot.right_mm, plot.top_mm)
    near = [_grow(box, half_wide + 1.0, half + 1.0) for box in taken]
    fits = _inside(x, y, [_grow(room, -half_wide, -half)]) & ~_inside(x, y, near)
    if not fits.any():
        return []
    costs = np.abs((x - plot.left_mm) / plot.width_mm + (y - plot.bottom_mm) / plot.height_mm - 1.0)
    x_mm, y_mm = line[np.argmin(np.where(fits, costs, np.inf))].tolist()
    sheet.text(x_mm, y_mm, words, across="center", up="center")
    return [_grow(Box(x_mm, y_mm, x_mm, y_mm), half_wide, half)]


def _grow(box: Box, across: float, up: float) -> Box:
    return Box(box.left - across, box.bottom - up, box.right + across, box.top + up)


def _inside(x: Array, y: Array, boxes: list[Box]) -> npt.NDArray[np.bool_]:
    inside = np.zeros(x.shape, dtype=bool)
    for box in boxes:
        inside |= (box.left < x) & (x < box.right) & (box.bottom < y) & (y < box.top)
    return inside


def _runs(free: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """List where it is true for two places or more: from, and up to."""
    ends = np.flatnonzero(np.diff(np.concatenate([[0], free, [0]]))).tolist()
    return [pair for pair in zip(ends[::2], ends[1::2], strict=True) if pair[1] - pair[0] > 1]


def _clear_of(line: Array, boxes: list[Box]) -> list[Array]:
    """Cut a line where names stand on it."""
    share = np.linspace(0.0, len(line) - 1.0, 600)
    dense = np.column_stack([np.interp(share, np.arange(len(line)), line[:, i]) for i in (0, 1)])
    parts = [dense[a:b] for a, b in _runs(~_inside(dense[:, 0], dense[:, 1], boxes))]
    return [part for part in parts if np.hypot(*(part[-1] - part[0])) > 1.5]  # else a mere speck


def _hatch(sheet: Sheet, plot: Plot, shown: EffortMap, boxes: list[Box]) -> None:
    """Hatch upright what rails alone can reach, but for where names stand."""
    x_mm = np.arange(plot.left_mm + _HATCH_MM / 2, plot.right_mm, _HATCH_MM)
    y_mm = np.linspace(plot.bottom_mm, plot.top_mm, 240)
    nodes = [np.linspace(0.0, 1.0, len(axis)) for axis in (shown.lengths_mm, shown.tips_mm)]
    share_x = (x_mm - plot.left_mm) / plot.width_mm
    columns = np.array([np.interp(share_x, nodes[1], row) for row in shown.spare_mm]).T
    spare = np.array([np.interp(np.linspace(0.0, 1.0, 240), nodes[0], col) for col in columns])
    x, y = (grid.ravel() for grid in np.meshgrid(x_mm, y_mm, indexing="ij"))
    free = ((spare.ravel() >= 0.0) & ~_inside(x, y, boxes)).reshape(spare.shape)
    strokes = [
        ((float(x), float(y_mm[start])), (float(x), float(y_mm[end - 1])))
        for x, column in zip(x_mm, free, strict=True)
        for start, end in _runs(column)
    ]
    sheet.strokes(strokes, color=FAINT, width_pt=0.5, layer=0.6)
