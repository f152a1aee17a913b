"""A run chart: values in the order they came, with the centre line and limits they are held to.

For a gauge's checks or a batch of pieces. Where centre and limits come from is the caller's
business; the picture only says which values stand outside.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.core.values.units import format_number
from app.render.figures import (
    ACCENT,
    GREY,
    INK,
    LineLook,
    Plot,
    Sheet,
    line_height_mm,
    nice_ticks,
    text_width_mm,
    wrap_text,
)
from app.render.labels import spread
from app.render.scales import (
    TICK_MM,
    Picture,
    draw_left_scale,
    drawer,
    lay_plot,
)

_LINE = LineLook(color=INK, width_pt=1.0, mark="o", mark_pt=5.0)
_OUTSIDE = LineLook(color=ACCENT, width_pt=1.3, mark="o", mark_pt=8.4, mark_open=True)
_LIMIT = LineLook(color=GREY, width_pt=0.8, dashes=(6.0, 3.0))
_CENTRE = LineLook(color=GREY, width_pt=0.8)
_NOMINAL = LineLook(color=GREY, width_pt=1.2, dashes=(1.0, 2.0))


@dataclass(frozen=True, slots=True)
class RunPoint:
    """One value and what it is called: the date of a check, the number of a piece."""

    label: str
    value: float


@dataclass(frozen=True, slots=True)
class RunChart(Picture):
    """Values in order; centre, limits and the nominal value (or a target) where there are any.

    `caption` says what is shown and in which unit; `order` what runs along the bottom.
    `outside` adds to the values beyond the limits those that the caller has reason to mark.
    """

    points: tuple[RunPoint, ...]
    caption: str
    decimals: int = 3
    centre: float | None = None
    lower: float | None = None
    upper: float | None = None
    nominal: float | None = None
    nominal_words: str = "nominal"
    outside: tuple[int, ...] = ()
    order: str = "in the order taken"


def compose_run_chart(sheet: Sheet, picture: RunChart) -> None:
    """Draw the run chart on a sheet of the picture's size."""
    levels = _levels(picture)
    outside = _outside(picture)
    low, high = _extent(picture)
    # No ticks finer than the values are written.
    ticks = nice_ticks(low, high, min(8, int((high - low) * 10**picture.decimals + 1e-6)))
    if not picture.points and not levels:
        ticks = []
    words = [format_number(tick, picture.decimals, least=picture.decimals) for tick in ticks]
    left = max([text_width_mm(word) for word in words], default=8.0) + 4.0
    plot = lay_plot(
        sheet,
        (0.4, max(2, len(picture.points)) + 0.6),
        (low, high),
        footer=_footer(picture, outside),
        beside=[text for _, text, _ in levels],
        left_mm=left,
        above_rows=2,
    )
    sheet.text(
        plot.left_mm, plot.top_mm + 1.2,
        "".join(wrap_text(picture.caption, sheet.width_mm - plot.left_mm - 1.5, 1)),
        color=GREY,
    )  # fmt: skip
    draw_left_scale(
        sheet, plot, "", ticks,
        lambda value: format_number(value, picture.decimals, least=picture.decimals),
    )  # fmt: skip
    _draw_levels(sheet, plot, levels)
    _draw_points(sheet, plot, picture.points, outside)
    _draw_order(sheet, plot, picture)


draw_run_chart = drawer(compose_run_chart)


def _levels(picture: RunChart) -> list[tuple[float, str, LineLook]]:
    rows = (
        (picture.upper, "limit", _LIMIT),
        (picture.centre, "centre", _CENTRE),
        (picture.lower, "limit", _LIMIT),
        (picture.nominal, picture.nominal_words, _NOMINAL),
    )
    decimals = picture.decimals
    return [
        (value, f"{words} {format_number(value, decimals, least=decimals)}", look)
        for value, words, look in rows
        if value is not None
    ]


def _outside(picture: RunChart) -> set[int]:
    low = picture.lower if picture.lower is not None else float("-inf")
    high = picture.upper if picture.upper is not None else float("inf")
    values = enumerate(point.value for point in picture.points)
    return {at for at, value in values if not low <= value <= high} | set(picture.outside)


def _extent(picture: RunChart) -> tuple[float, float]:
    values = [point.value for point in picture.points]
    values += [value for value, _, _ in _levels(picture)]
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    least = 10.0**-picture.decimals * 4
    room = max(0.12 * (high - low), (least - (high - low)) / 2)
    return low - room, high + room


def _footer(picture: RunChart, outside: set[int]) -> list[str]:
    texts = []
    if not picture.points:
        texts.append("Nothing has been checked yet.")
    elif outside:
        texts.append(f"Ringed: outside the limits ({len(outside)} of {len(picture.points)}).")
    elif picture.lower is not None or picture.upper is not None:
        texts.append("All within the limits.")
    return [*texts, *picture.notes]


def _draw_levels(sheet: Sheet, plot: Plot, levels: Sequence[tuple[float, str, LineLook]]) -> None:
    heights = [plot.y(value) for value, _, _ in levels]
    places = spread(heights, line_height_mm(), plot.bottom_mm, plot.top_mm)
    for (_, words, look), height, place in zip(levels, heights, places, strict=True):
        sheet.line([plot.left_mm, plot.right_mm], [height, height], look, 1.0)
        sheet.strokes([((plot.right_mm, height), (plot.right_mm + 2.0, place))])
        sheet.text(plot.right_mm + 2.5, place, words, color=GREY, up="center")


def _draw_points(sheet: Sheet, plot: Plot, points: Sequence[RunPoint], outside: set[int]) -> None:
    if not points:
        return
    x, y = plot.place(range(1, len(points) + 1), [point.value for point in points])
    sheet.line(x, y, _LINE, 2.0)
    if outside:
        ringed = sorted(outside & set(range(len(points))))
        sheet.marks([x[at] for at in ringed], [y[at] for at in ringed], _OUTSIDE, 2.8)
    # Many values on a small sheet: smaller marks, so that the run stays readable.
    crowd = plot.width_mm / max(1, len(points))
    sheet.marks(x, y, replace(_LINE, mark_pt=5.0 if crowd > 3.0 else 3.0), 3.0)


def _draw_order(sheet: Sheet, plot: Plot, picture: RunChart) -> None:
    """Write below what each value is called, as many as there is room for, the last always."""
    top = plot.bottom_mm - TICK_MM - 0.7
    right_edge = sheet.width_mm - 1.0
    strokes = [((plot.left_mm, plot.bottom_mm), (plot.right_mm, plot.bottom_mm))]
    free_until = right_edge
    for at in range(len(picture.points), 0, -1):
        x = plot.x(at)
        strokes.append(((x, plot.bottom_mm), (x, plot.bottom_mm - TICK_MM)))
        words = "".join(wrap_text(picture.points[at - 1].label, 26.0, 1))
        half = text_width_mm(words) / 2
        centre = min(x, right_edge - half)
        if words and centre + half <= free_until and centre - half >= 0.5:
            sheet.text(centre, top, words, across="center", up="top")
            free_until = centre - half - 2.5
    order = "".join(wrap_text(picture.order, sheet.width_mm - plot.left_mm - 1.5, 1))
    sheet.text(plot.left_mm, top - line_height_mm(), order, color=GREY, up="top")
    sheet.strokes(strokes, color=GREY)
