"""Tip opening and facing length over the years, one above the other on the same time axis.

From one reading set to the next the line is thick where the shop worked on the piece in between
(the later set was taken at the bench or as returned) and thin where the piece was away.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from app.core.values.units import format_number
from app.render.figures import (
    GREY,
    INK,
    LineLook,
    Plot,
    Sheet,
    clean_text,
    line_height_mm,
    nice_ticks,
    text_width_mm,
    wrap_text,
)
from app.render.labels import Box, Label, place_labels
from app.render.scales import (
    TICK_MM,
    Picture,
    draw_footer,
    draw_left_scale,
    drawer,
    lay_margins,
)

# Which roles come after work at the bench, and how each is marked.
_WORKED = {"as returned", "at the bench"}
_MARKS: dict[str, LineLook] = {
    "as received": LineLook(color=GREY, width_pt=0.9, mark="o", mark_pt=6.0, mark_open=True),
    "at the bench": LineLook(color=INK, mark="o", mark_pt=3.4),
    "as returned": LineLook(color=INK, mark="o", mark_pt=6.0),
    "reference": LineLook(color=INK, width_pt=0.9, mark="s", mark_pt=5.4, mark_open=True),
}
_MARK_WORDS = {
    "as received": "ring",
    "at the bench": "point",
    "as returned": "dot",
    "reference": "square",
}
_WORK_LINE = LineLook(color=INK, width_pt=1.7)
_AWAY_LINE = LineLook(color=GREY, width_pt=0.6)
_BETWEEN_MM = 5.0
_DAYS_IN_YEAR = 365.25
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class HistoryPoint:
    """What one reading set says: when, in which role (in words), tip and facing length in mm."""

    taken_on: date
    role: str
    tip_opening_mm: float | None = None
    facing_length_mm: float | None = None


@dataclass(frozen=True, slots=True)
class HistoryPicture(Picture):
    """One piece over the years; the points may come in any order."""

    points: tuple[HistoryPoint, ...]


@dataclass(frozen=True, slots=True)
class _Panel:
    """One of the two plots: its caption, what it takes from a point, its least decimals and range.

    With `glass` the glass's numbers stand at the right.
    """

    caption: str
    of: Callable[[HistoryPoint], float | None]
    decimals: int
    least_range: float
    glass: bool


_PANELS = (
    _Panel("tip, mm", lambda point: point.tip_opening_mm, 2, 0.10, glass=False),
    _Panel("facing, mm", lambda point: point.facing_length_mm, 1, 2.0, glass=True),
)


def compose_history(sheet: Sheet, picture: HistoryPicture) -> None:
    """Draw the history on a sheet of the picture's size."""
    points = sorted(picture.points, key=lambda point: point.taken_on)
    texts = ["Facing: where the thinnest blade stops, from the tip."]
    if points:
        texts.append(_key_to_marks(points))
    if len(points) > 1:
        texts.append("Thick: worked on here. Thin: away.")
    if not points:
        texts.append("Nothing has been measured yet.")
    margins = lay_margins(
        sheet,
        footer=[*texts, *picture.notes],
        left_mm=text_width_mm(_PANELS[1].caption) + 3.5,
        below_rows=1,
        beside=["glass"],
    )
    low, high = _days(points)
    each = (sheet.height_mm - margins.top_mm - margins.bottom_mm - _BETWEEN_MM) / len(_PANELS)
    for place, panel in enumerate(_PANELS):
        bottom = margins.bottom_mm + (len(_PANELS) - 1 - place) * (each + _BETWEEN_MM)
        width = sheet.width_mm - margins.left_mm - margins.right_mm
        values = [value for point in points if (value := panel.of(point)) is not None]
        y_low, y_high = _range(values, panel.least_range)
        plot = Plot(margins.left_mm, bottom, width, each, low, high, y_low, y_high)
        _draw_panel(sheet, plot, panel, points)
        if panel.glass and values:
            _draw_glass(sheet, plot, picture.glass_mm_per_number)
        if place == len(_PANELS) - 1:
            draw_footer(sheet, plot, margins)
            if points:
                _draw_time(sheet, plot)


draw_history = drawer(compose_history)


def _key_to_marks(points: Sequence[HistoryPoint]) -> str:
    roles = {point.role for point in points}
    keys = [f"{words}: {role}" for role, words in _MARK_WORDS.items() if role in roles]
    others = sorted(clean_text(role) for role in roles - set(_MARK_WORDS))
    keys += [f"square: {'; '.join(others)}"] if others else []
    words = ", ".join(keys)
    return f"{words[0].upper()}{words[1:]}."


def _days(points: Sequence[HistoryPoint]) -> tuple[float, float]:
    days = [point.taken_on.toordinal() for point in points] or [date(2000, 1, 1).toordinal()]
    least = 120.0
    room = max(0.08 * (max(days) - min(days)), (least - (max(days) - min(days))) / 2, 10.0)
    return min(days) - room, max(days) + room


def _range(values: Sequence[float], least: float) -> tuple[float, float]:
    low, high = (min(values), max(values)) if values else (0.0, least)
    room = max(0.25 * (high - low), (least - (high - low)) / 2)
    return max(0.0, low - room), high + room


def _draw_panel(sheet: Sheet, plot: Plot, panel: _Panel, points: Sequence[HistoryPoint]) -> None:
    measured = [(point, value) for point in points if (value := panel.of(point)) is not None]
    most = max(2, int(plot.height_mm / 7.0))
    ticks = nice_ticks(plot.y_low, plot.y_high, most) if measured else []
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    decimals = max(0, min(3, -int(np.floor(np.log10(step) + 1e-9))))
    draw_left_scale(
        sheet, plot, panel.caption, ticks,
        lambda value: format_number(value, decimals, least=decimals),
    )  # fmt: skip
    sheet.strokes([((plot.left_mm, plot.bottom_mm), (plot.right_mm, plot.bottom_mm))], color=GREY)
    at = [(plot.x(point.taken_on.toordinal()), plot.y(value)) for point, value in measured]
    for (_, start), ((later, _), end) in zip(
        zip(measured, at, strict=True), zip(measured[1:], at[1:], strict=True), strict=False
    ):
        look = _WORK_LINE if later.role in _WORKED else _AWAY_LINE
        sheet.line([start[0], end[0]], [start[1], end[1]], look, 2.0)
    for (point, _), (x, y) in zip(measured, at, strict=True):
        look = _MARKS.get(point.role, _MARKS["reference"])
        sheet.marks([x], [y], look, 3.0)
    _write_labels(sheet, plot, panel, measured, at)


def _draw_glass(sheet: Sheet, plot: Plot, mm_per_number: float) -> None:
    """Write the glass's numbers at the right, halves and all where the range is small."""
    x, row = plot.right_mm, line_height_mm()
    strokes = [((x, plot.bottom_mm), (x, plot.top_mm))]
    low, high = plot.y_low / mm_per_number, plot.y_high / mm_per_number
    for number in nice_ticks(low, high, max(2, int(plot.height_mm / 7.0))):
        y = plot.y(number * mm_per_number)
        if plot.top_mm - y >= row:
            strokes.append(((x, y), (x + TICK_MM, y)))
            sheet.text(x + 2.5, y, format_number(number, 2), up="center")
    sheet.strokes(strokes, color=GREY)
    sheet.text(x + 2.5, plot.top_mm, "glass", color=GREY, up="center")


def _write_labels(
    sheet: Sheet,
    plot: Plot,
    panel: _Panel,
    measured: Sequence[tuple[HistoryPoint, float]],
    at: Sequence[tuple[float, float]],
) -> None:
    """Write value and role beside each mark; where there is no room, fewer words."""
    if not measured:
        return
    area = Box(plot.left_mm + 0.8, plot.bottom_mm + 0.6, plot.right_mm, plot.top_mm)
    row = line_height_mm()
    for texts in _wordings(panel, measured):
        labels = [
            Label(text_width_mm(text) if text else 0.1, row if text else 0.1, np.array([place]))
            for text, place in zip(texts, at, strict=True)
        ]
        written = [label for label, text in zip(labels, texts, strict=True) if text]
        line = np.array(at)
        places = place_labels(written, area, line, (), track=line, reach_mm=12.0)
        if len(places) == len(written):
            break
    shown = [text for text in texts if text]
    looks = [
        _MARKS.get(point.role, _MARKS["reference"])
        for (point, _), text in zip(measured, texts, strict=True)
        if text
    ]
    for text, look, place in zip(shown, looks, places, strict=True):
        x = place.box.left if place.rightward else place.box.right
        middle = (place.box.bottom + place.box.top) / 2
        sheet.strokes([place.leader], color=GREY, width_pt=0.35, layer=1.5)
        sheet.text(
            x,
            middle,
            text,
            color=look.color,
            across="left" if place.rightward else "right",
            up="center",
        )


def _wordings(panel: _Panel, measured: Sequence[tuple[HistoryPoint, float]]) -> list[list[str]]:
    """Ways to label the marks, fullest first: every value and role; values; first and last."""
    values = [format_number(value, 2, least=panel.decimals) for _, value in measured]
    roles = ["".join(wrap_text(point.role, 30.0, 1)) for point, _ in measured]
    ends = {0, len(values) - 1}
    returned = {at for at, (point, _) in enumerate(measured) if point.role == "as returned"}
    return [
        [f"{value} {role}".strip() for value, role in zip(values, roles, strict=True)],
        values,
        [value if at in ends | returned else "" for at, value in enumerate(values)],
        [value if at in ends else "" for at, value in enumerate(values)],
        [value if at == len(values) - 1 else "" for at, value in enumerate(values)],
        ["" for _ in values],
    ]


def _draw_time(sheet: Sheet, plot: Plot) -> None:
    """Write years below; over less than two years, months."""
    top = plot.bottom_mm - TICK_MM - 0.7
    strokes = []
    for day, words in _dates(plot.x_low, plot.x_high, max(2, int(plot.width_mm / 19.0))):
        x = plot.x(day)
        strokes.append(((x, plot.bottom_mm), (x, plot.bottom_mm - TICK_MM)))
        if x + text_width_mm(words) / 2 < sheet.width_mm - 0.5:
            sheet.text(x, top, words, across="center", up="top")
    sheet.strokes(strokes, color=GREY)


def _dates(low: float, high: float, most: int) -> list[tuple[int, str]]:
    first, last = date.fromordinal(int(low) + 1), date.fromordinal(int(high))
    if high - low > 2.5 * _DAYS_IN_YEAR:
        years = range(first.year + (first > date(first.year, 1, 1)), last.year + 1)
        every = max(1, -(-len(years) // most))
        return [(date(year, 1, 1).toordinal(), str(year)) for year in years if year % every == 0]
    months = [
        date(year, month, 1)
        for year in range(first.year, last.year + 1)
        for month in range(1, 13)
        if first <= date(year, month, 1) <= last
    ]
    every = next(n for n in (1, 2, 3, 6, 12) if len(months) / n <= most or n == 12)
    return [
        (month.toordinal(), f"{_MONTHS[month.month - 1]} {month.year}")
        for month in months
        if (month.month - 1) % every == 0
    ]
