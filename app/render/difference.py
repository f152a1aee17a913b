"""How far a facing stands from another, in µm of gap along the length.

The other one (a target, or the same piece before) is the straight line at zero; above it the
rail is more open, below it more closed. Marks are the blades' readings, with a bar where their
uncertainty is given; the lines are the difference of the drawn curves.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.core.values.units import format_number, format_signed
from app.render.figures import (
    GREY,
    INK,
    LineLook,
    Plot,
    Sheet,
    clean_text,
    nice_ticks,
    wrap_text,
)
from app.render.labels import Array, Box
from app.render.looks import RING_PT, ProfileLine, Rail
from app.render.names import NamedLine, write_names
from app.render.scales import (
    Picture,
    draw_glass_scale,
    draw_left_scale,
    draw_levels,
    draw_lower_scale,
    drawer,
    lay_plot,
)

_LOOKS: dict[Rail | None, LineLook] = {
    "left": LineLook(color=INK, width_pt=1.3, mark="o", mark_pt=5.0),
    "right": LineLook(
        color=INK, width_pt=1.3, mark="o", mark_pt=5.0 + RING_PT / 2, mark_open=True,
        dashes=(3.6, 2.0),
    ),
    "mean": LineLook(color=INK, width_pt=1.3, mark="s", mark_pt=5.0, dashes=(9.0, 1.6)),
    None: LineLook(color=INK, width_pt=1.3, mark="o", mark_pt=5.0),
}  # fmt: skip
_LEAST_UM = 20.0  # a smaller range would make noise look like news
_UM = 1000.0


@dataclass(frozen=True, slots=True)
class DifferenceMark:
    """The difference at one reading; `half_um` is half the bar, its expanded uncertainty."""

    s_mm: float
    difference_um: float
    half_um: float | None = None


@dataclass(frozen=True, slots=True)
class DifferenceLine:
    """One rail: the difference of the curves, and of each reading from the other curve."""

    rail: Rail | None
    s_mm: tuple[float, ...]
    difference_um: tuple[float, ...]
    marks: tuple[DifferenceMark, ...] = ()
    tip_um: float | None = None


@dataclass(frozen=True, slots=True)
class DifferencePicture(Picture):
    """Differences of both rails from what `against` names ("before", "target")."""

    lines: tuple[DifferenceLine, ...]
    against: str


def difference_lines(
    lines: Sequence[ProfileLine],
    others: Sequence[ProfileLine],
    *,
    u_um: float | None = None,
    k: float = 2.0,
) -> tuple[DifferenceLine, ...]:
    """Take `others` away from `lines`, rail by rail; a target without a rail serves for all.

    `u_um` is the standard uncertainty of one difference (µm of gap), drawn as ± `k` times it.
    """
    by_rail = {other.rail: other for other in others if other.drawn}
    differences = []
    for line in lines:
        other = by_rail.get(line.rail, by_rail.get(None))
        if other is not None and line.drawn:
            differences.append(_difference(line, other, None if u_um is None else k * u_um))
    return tuple(differences)


def _difference(line: ProfileLine, other: ProfileLine, half_um: float | None) -> DifferenceLine:
    starts = (min(line.curve_s_mm), min(other.curve_s_mm))
    ends = (max(line.curve_s_mm), max(other.curve_s_mm))
    s_mm = np.linspace(max(starts), max(ends), 80)
    apart = (_gap_at(line, s_mm) - _gap_at(other, s_mm)) * _UM
    read = [stop for stop in line.stops if stop.position_mm >= min(other.curve_s_mm)]
    gaps = _gap_at(other, np.array([stop.position_mm for stop in read]))
    tip_um = None
    if line.tip_opening_mm is not None and other.tip_opening_mm is not None:
        tip_um = (line.tip_opening_mm - other.tip_opening_mm) * _UM
    return DifferenceLine(
        rail=line.rail,
        s_mm=tuple(s_mm.tolist()),
        difference_um=tuple(apart.tolist()),
        marks=tuple(
            DifferenceMark(stop.position_mm, (stop.gap_mm - float(gap)) * _UM, half_um)
            for stop, gap in zip(read, gaps, strict=True)
        ),
        tip_um=tip_um,
    )


def _gap_at(line: ProfileLine, s_mm: Array) -> Array:
    """Read a drawn curve at positions; beyond the break the gap is nothing."""
    order = np.argsort(line.curve_s_mm, kind="stable")
    s, gap = np.array(line.curve_s_mm)[order], np.array(line.curve_gap_mm)[order]
    gaps: Array = np.interp(s_mm, s, gap, right=0.0)
    return gaps


def compose_difference(sheet: Sheet, picture: DifferencePicture) -> None:
    """Draw the differences on a sheet of the picture's size."""
    against = "".join(wrap_text(picture.against, 24.0, 1))
    low, high = _extent_um(picture)
    longest = max((max(line.s_mm) for line in picture.lines if line.s_mm), default=20.0) + 1.0
    around = {"footer": _footer(picture), "beside": [against], "glass": True}
    plot = lay_plot(sheet, (-longest / 60, longest), (low, high), from_x=0.0, **around)
    draw_glass_scale(sheet, plot, picture.glass_mm_per_number)
    draw_lower_scale(sheet, plot, "mm from the tip", low=0.0)
    ticks = nice_ticks(low, high, max(2, int(plot.height_mm / 8.0)))
    decimals = 0 if high - low >= 10 else 2
    draw_left_scale(
        sheet, plot, "gap, µm", ticks, lambda value: format_signed(value, decimals), from_x=0.0
    )
    zero = plot.y(0.0)
    sheet.strokes([((plot.x(0.0), zero), (plot.right_mm, zero))], color=GREY, width_pt=0.8)
    for line in picture.lines:
        _draw_line(sheet, plot, line)
    names = _write_names(sheet, plot, picture.lines)
    draw_levels(sheet, plot, [(0.0, against)], names, from_x=0.0)


draw_difference = drawer(compose_difference)


def _extent_um(picture: DifferencePicture) -> tuple[float, float]:
    values = [-_LEAST_UM / 2, _LEAST_UM / 2]
    for line in picture.lines:
        values += [*line.difference_um, line.tip_um or 0.0]
        for mark in line.marks:
            half = mark.half_um or 0.0
            values += [mark.difference_um - half, mark.difference_um + half]
    room = 0.07 * (max(values) - min(values))
    return min(values) - room, max(values) + room


def _footer(picture: DifferencePicture) -> list[str]:
    texts = [f"Above the line: more open than {clean_text(picture.against)}. Below: more closed."]
    halves = {mark.half_um for line in picture.lines for mark in line.marks if mark.half_um}
    if len(halves) == 1:
        texts.append(f"Bars: ±{format_number(halves.pop(), 0)} µm, which the gauges can't tell.")
    elif halves:
        texts.append("Bars: what the gauges can't tell (twice the standard uncertainty).")
    if not picture.lines:
        texts.append("There is nothing to compare.")
    return [*texts, *picture.notes]


def _draw_line(sheet: Sheet, plot: Plot, line: DifferenceLine) -> None:
    look = _LOOKS[line.rail]
    if len(line.s_mm) > 1:
        sheet.line(*plot.place(line.s_mm, line.difference_um), look, 2.2)
    bars = []
    for mark in line.marks:
        if mark.half_um:
            x = plot.x(mark.s_mm)
            bars.append(
                (
                    (x, plot.y(mark.difference_um - mark.half_um)),
                    (x, plot.y(mark.difference_um + mark.half_um)),
                )
            )
    sheet.strokes(bars, color=INK, width_pt=0.7, layer=2.1)
    if line.marks:
        at = plot.place(
            [mark.s_mm for mark in line.marks], [mark.difference_um for mark in line.marks]
        )
        sheet.marks(*at, look, 3.0 if look.mark_open else 3.5)
    if line.tip_um is not None:
        tip = LineLook(color=look.color, mark="D", mark_pt=5.0)
        sheet.marks(*plot.place([0.0], [line.tip_um]), tip, 3.8)


def _write_names(sheet: Sheet, plot: Plot, lines: Sequence[DifferenceLine]) -> list[Box]:
    def named(line: DifferenceLine) -> NamedLine:
        x_mm, y_mm = plot.place(line.s_mm, line.difference_um)
        return NamedLine(x_mm, y_mm, _LOOKS[line.rail], lambda _width, _most: [str(line.rail)])

    marks = [
        (plot.x(mark.s_mm), plot.y(mark.difference_um)) for line in lines for mark in line.marks
    ]
    area = Box(plot.x(0.0) + 1.0, plot.bottom_mm + 1.0, plot.right_mm, plot.top_mm - 1.0)
    curves = [named(line) for line in lines if line.rail and len(line.s_mm) > 1]
    return write_names(sheet, area, curves, marks, [plot.y(0.0)])
