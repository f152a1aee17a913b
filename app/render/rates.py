"""What the shop's passes took: depth against strokes, the line, and how far to trust it.

Each point is one pair of readings with its strokes, named by its job. The line runs through the
origin, since no strokes take nothing; the thin lines are where one more pass would fall, nineteen
times in twenty.
"""

from dataclasses import dataclass

import numpy as np

from app.core.plan.removal import RemovalRate, forecast_depth
from app.core.values.units import format_number
from app.render.figures import (
    GREY,
    INK,
    LineLook,
    Plot,
    Sheet,
    line_height_mm,
    nice_ticks,
    text_width_mm,
)
from app.render.labels import Box, Label, place_labels
from app.render.scales import (
    Picture,
    draw_left_scale,
    draw_lower_scale,
    drawer,
    lay_plot,
)

_POINT = LineLook(color=INK, mark="o", mark_pt=5.0)
_LINE = LineLook(color=INK, width_pt=1.4)
_BOUND = LineLook(color=GREY, width_pt=0.7, dashes=(6.0, 3.0))
_MOST_NAMES = 14
_LEAST_UM = 10.0
_STEPS = 40


@dataclass(frozen=True, slots=True)
class RatePicture(Picture):
    """One kind of cut: what was learnt, with its pairs."""

    rate: RemovalRate


def compose_rate(sheet: Sheet, picture: RatePicture) -> None:
    """Draw the evidence on a sheet of the picture's size."""
    rate = picture.rate
    strokes = np.linspace(0.0, 1.08 * max(10.0, rate.most_strokes), _STEPS)
    band = _band(rate, strokes)
    depths = [pair.depth_mm * 1000 for pair in rate.pairs]
    highest = [_LEAST_UM, *depths]
    if band is not None:
        highest.append(float(band[2][-1]))
    low, high = min([0.0, *depths]), max(highest)
    edges = (0.0, float(strokes[-1])), (1.1 * low, 1.08 * high)
    plot = lay_plot(sheet, *edges, footer=[_say_lines(rate)], left_mm=20.0)
    draw_lower_scale(sheet, plot, "strokes")
    ticks = nice_ticks(plot.y_low, plot.y_high, max(2, int(plot.height_mm / 9.0)))
    draw_left_scale(sheet, plot, "took, µm", ticks, lambda value: format_number(value, 0))
    if low < 0.0:
        zero = plot.y(0.0)
        sheet.strokes([((plot.left_mm, zero), (plot.right_mm, zero))], color=GREY)
    if band is not None:
        for values, look in zip(band, (_BOUND, _LINE, _BOUND), strict=True):
            # below nothing there is nothing to draw
            sheet.line(*plot.place(strokes.tolist(), np.maximum(low, values).tolist()), look, 2.0)
    _draw_points(sheet, plot, rate, strokes, band)


draw_rate = drawer(compose_rate)


Band = tuple[np.ndarray, np.ndarray, np.ndarray]


def _band(rate: RemovalRate, strokes: np.ndarray) -> Band | None:
    """Low end, middle and high end of the prediction in µm; None while it is not known."""
    if not rate.known:
        return None
    rows = [forecast_depth(rate, float(n)) for n in strokes]
    ends = [[row.low_mm, row.expected_mm, row.high_mm] for row in rows]
    low, middle, high = np.array(ends).T * 1000
    return low, middle, high


def _say_lines(rate: RemovalRate) -> str:
    if not rate.known:
        return "No line yet: too few passes to tell."
    return "Dashed: where one more pass would fall, 19 times in 20. By each dot its job."


def _draw_points(
    sheet: Sheet, plot: Plot, rate: RemovalRate, strokes: np.ndarray, band: Band | None
) -> None:
    at = [(plot.x(pair.strokes), plot.y(pair.depth_mm * 1000)) for pair in rate.pairs]
    if not at:
        return
    sheet.marks([x for x, _ in at], [y for _, y in at], _POINT, 3.0)
    named = [(place, pair.job) for place, pair in zip(at, rate.pairs, strict=True) if pair.job][
        -_MOST_NAMES:
    ]
    if not named:
        return
    labels = [
        Label(text_width_mm(job), line_height_mm(), np.array([place])) for place, job in named
    ]
    line = np.array(at)
    if band is not None:
        middle = np.column_stack(plot.place(strokes.tolist(), band[1].tolist()))
        line = np.concatenate([line, middle])
    area = Box(plot.left_mm + 0.8, plot.bottom_mm + 0.6, plot.right_mm, plot.top_mm)
    places = place_labels(labels, area, line, ())
    for (_, job), place in zip(named, places, strict=True):
        sheet.strokes([place.leader], color=GREY, width_pt=0.35, layer=1.5)
        sheet.text(
            place.box.left if place.rightward else place.box.right,
            (place.box.bottom + place.box.top) / 2,
            job,
            color=GREY,
            across="left" if place.rightward else "right",
            up="center",
        )
