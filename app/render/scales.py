"""What stands around a plot: scales with their captions, level lines, the words below.

All pictures share it, so that a maker who has read one can read them all.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from app.core.facing.unread import Unread
from app.core.values.units import format_number, format_signed
from app.render.figures import (
    FAINT,
    GREY,
    Kind,
    Plot,
    Sheet,
    draw_sheet,
    line_height_mm,
    nice_ticks,
    text_width_mm,
    wrap_text,
)
from app.render.labels import Box, spread

Size = Literal["card", "screen", "bench", "small"]
SIZES_MM: dict[Size, tuple[float, float]] = {
    "card": (170.0, 92.0),
    "screen": (210.0, 120.0),
    "bench": (140.0, 98.0),  # beside the table of readings
    "small": (96.0, 100.0),
}
GLASS_WORDS = {0.5: "glass, half-millimetre numbers", 1.0: "glass, whole millimetres"}

EDGE_MM = 1.0
TICK_MM = 1.2
LEFT_MARGIN_MM = 18.0  # holds "tip 0.00" in bold
_TEXT_GAP_MM = 0.7
_TICKS_APART_MM = 9.0
_SHADE_MM = 2.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """What every picture may say beside what it shows; without a width or height, its size's."""

    glass_mm_per_number: float = 0.5
    notes: tuple[str, ...] = ()
    size: Size = "card"
    width_mm: float | None = None
    height_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Margins:
    """What surrounds a plot on its sheet, in mm, and the words already broken to fit there."""

    left_mm: float
    right_mm: float
    top_mm: float
    bottom_mm: float
    footer: tuple[str, ...]
    below_rows: int


def drawer(
    compose: Callable[[Sheet, Any], None], sizes: Mapping[Any, tuple[float, float]] = SIZES_MM
) -> Callable[..., bytes]:
    """Make the function that gives such a picture as SVG, or as PNG of `dpi` dots an inch."""

    def draw(picture: Any, kind: Kind = "svg", dpi: int = 200) -> bytes:
        width, height = sizes[picture.size]
        width = getattr(picture, "width_mm", None) or width
        height = getattr(picture, "height_mm", None) or height
        return draw_sheet(width, height, lambda sheet: compose(sheet, picture), kind, dpi)

    return draw


def lay_margins(
    sheet: Sheet,
    *,
    footer: Sequence[str],
    beside: Sequence[str] = (),
    glass: bool = False,
    left_mm: float = LEFT_MARGIN_MM,
    above_rows: int = 1,
    below_rows: int = 2,
) -> Margins:
    """Find the room that scales, words `beside` the plot and footer take.

    `below_rows` counts the rows of the lower scale: its numbers and its caption.
    """
    row = line_height_mm()
    footer_wide = sheet.width_mm - _footer_left(sheet, left_mm) - EDGE_MM - 1.5
    # One paragraph: a sheet low enough to be on a card has no rows to give away.
    whole = " ".join(shown for text in footer if (shown := " ".join(wrap_text(text, 400.0, 1))))
    footer_lines = wrap_text(whole, footer_wide, 99)
    # However much there is to say, the plot keeps the larger part of the sheet.
    most = max(1, int((0.4 * sheet.height_mm - below_rows * row) / row))
    if len(footer_lines) > most:
        footer_lines = [*footer_lines[: most - 1], "…"]
    above = 2 if glass else above_rows
    return Margins(
        left_mm=left_mm,
        right_mm=max([text_width_mm(text) for text in beside], default=1.0) + 3.5,
        top_mm=EDGE_MM + row * above + (TICK_MM + 1.0 if glass else 0.0),
        bottom_mm=EDGE_MM + row * (len(footer_lines) + below_rows) + TICK_MM + 1.5,
        footer=tuple(footer_lines),
        below_rows=below_rows,
    )


def _footer_left(sheet: Sheet, left_mm: float) -> float:
    """Start the words below under the plot, but on a narrow sheet at its edge."""
    return left_mm if sheet.width_mm > 120 else EDGE_MM


def plot_within(
    sheet: Sheet, margins: Margins, x_low: float, x_high: float, y_low: float, y_high: float
) -> Plot:
    """Make the plot that fills a sheet within its margins."""
    return Plot(
        margins.left_mm,
        margins.bottom_mm,
        sheet.width_mm - margins.left_mm - margins.right_mm,
        sheet.height_mm - margins.top_mm - margins.bottom_mm,
        x_low,
        x_high,
        y_low,
        y_high,
    )


def lay_plot(
    sheet: Sheet,
    across: tuple[float, float],
    up: tuple[float, float],
    *,
    from_x: float | None = None,
    **around: Any,
) -> Plot:
    """Make the plot within the margins of what stands `around` it, and write the words below.

    `across` and `up` are the values at its edges, `from_x` that at which its words begin.
    """
    margins = lay_margins(sheet, **around)
    plot = plot_within(sheet, margins, *across, *up)
    draw_footer(sheet, plot, margins, from_x)
    return plot


def draw_footer(sheet: Sheet, plot: Plot, margins: Margins, from_x: float | None = None) -> None:
    """Write the words below the lower scale."""
    left = _footer_left(sheet, plot.left_mm if from_x is None else plot.x(from_x))
    row = line_height_mm()
    top = plot.bottom_mm - TICK_MM - _TEXT_GAP_MM - margins.below_rows * row - 0.6
    for place, text in enumerate(margins.footer):
        sheet.text(left, top - row * place, text, color=GREY, up="top")


def draw_glass_scale(
    sheet: Sheet, plot: Plot, mm_per_number: float, *, signed: bool = False
) -> None:
    """Write the glass's own numbers along the top; `signed` where they are differences."""
    start = plot.x_low if signed else max(0.0, plot.x_low)
    strokes = [((plot.x(start), plot.top_mm), (plot.right_mm, plot.top_mm))]
    low, high = start / mm_per_number, plot.x_high / mm_per_number
    row = line_height_mm()
    base = plot.top_mm + TICK_MM + 0.9
    for number in nice_ticks(low, high, _most_ticks(plot.width_mm)):
        x = plot.x(number * mm_per_number)
        strokes.append(((x, plot.top_mm), (x, plot.top_mm + TICK_MM)))
        words = format_signed(number, 1) if signed else format_number(number, 2)
        sheet.text(x, base, words, across="center")
    caption = GLASS_WORDS.get(
        mm_per_number, f"glass, numbers of {format_number(mm_per_number, 3)} mm"
    )
    sheet.text(plot.x(start), base + row, caption, color=GREY)
    sheet.strokes(strokes, color=GREY)


def draw_lower_scale(
    sheet: Sheet,
    plot: Plot,
    caption: str,
    write: Callable[[float], str] = lambda value: format_number(value, 2),
    low: float | None = None,
) -> None:
    """Write round values along the bottom, from `low` on, with a caption under them."""
    start = plot.x_low if low is None else low
    strokes = [((plot.x(start), plot.bottom_mm), (plot.right_mm, plot.bottom_mm))]
    top = plot.bottom_mm - TICK_MM - _TEXT_GAP_MM
    for value in nice_ticks(start, plot.x_high, _most_ticks(plot.width_mm)):
        x = plot.x(value)
        strokes.append(((x, plot.bottom_mm), (x, plot.bottom_mm - TICK_MM)))
        sheet.text(x, top, write(value), across="center", up="top")
    sheet.text(plot.x(start), top - line_height_mm(), caption, color=GREY, up="top")
    sheet.strokes(strokes, color=GREY)


def draw_left_scale(
    sheet: Sheet,
    plot: Plot,
    caption: str,
    ticks: Sequence[float],
    write: Callable[[float], str],
    taken: Sequence[float] = (),
    from_x: float | None = None,
) -> None:
    """Write values up the left side, save where something else is `taken` (mm on the sheet)."""
    row = line_height_mm()
    x = plot.left_mm if from_x is None else plot.x(from_x)
    right = plot.left_mm - TICK_MM - 0.5
    used = [*taken, plot.top_mm]
    strokes = [((x, plot.bottom_mm), (x, plot.top_mm))]
    for value in ticks:
        height = plot.y(value)
        if all(abs(height - other) >= row for other in used):
            used.append(height)
            strokes.append(((x, height), (plot.left_mm - TICK_MM, height)))
            sheet.text(right, height, write(value), across="right", up="center")
    sheet.strokes(strokes, color=GREY)
    sheet.text(right, plot.top_mm, caption, color=GREY, across="right", up="center")


def draw_levels(
    sheet: Sheet,
    plot: Plot,
    levels: Sequence[tuple[float, str]],
    names: Sequence[Box] = (),
    heading: str = "",
    from_x: float | None = None,
) -> None:
    """Draw faint level lines named at the right, leaving out what would run through a name."""
    row = line_height_mm()
    start = plot.left_mm if from_x is None else plot.x(from_x)
    heights = [plot.y(level) for level, _ in levels]
    room = row + 1.0 if heading else 0.0
    order = sorted(range(len(levels)), key=lambda at: levels[at][0])
    labelled = _told(order, int((plot.height_mm - room) / row) + 1)
    places = spread([heights[at] for at in labelled], row, plot.bottom_mm, plot.top_mm - room)
    strokes = []
    for height in heights:
        free = _free(start, plot.right_mm, height, names)
        strokes += [((left, height), (right, height)) for left, right in free]
    for at, place in zip(labelled, places, strict=True):
        strokes.append(((plot.right_mm, heights[at]), (plot.right_mm + 2.0, place)))
        sheet.text(plot.right_mm + 2.5, place, levels[at][1], color=GREY, up="center")
    sheet.strokes(strokes, color=FAINT, width_pt=0.4, layer=0.5)
    if levels and heading:
        sheet.text(plot.right_mm + 2.5, plot.top_mm, heading, color=GREY, up="center")


def shade_unread(sheet: Sheet, plot: Plot, unread: Unread) -> None:
    """Shade a stretch from top to bottom with slanting strokes, in step with any other's."""
    left, right = plot.x(unread.from_mm), plot.x(unread.to_mm)
    height = plot.top_mm - plot.bottom_mm
    strokes = []
    for start in np.arange(plot.left_mm - height, right, _SHADE_MM):
        low, high = max(left, float(start)), min(right, float(start) + height)
        if high > low:
            strokes.append(
                ((low, plot.bottom_mm + low - start), (high, plot.bottom_mm + high - start))
            )
    sheet.strokes(strokes, color=GREY, width_pt=0.35, layer=0.8)


def _told(order: Sequence[int], most: int) -> list[int]:
    """Choose which levels are named where there isn't room for all: the outer ones at least."""
    if len(order) <= most:
        return list(order)
    steps = max(1, most - 1)
    return sorted({order[round(step * (len(order) - 1) / steps)] for step in range(most)})


def _free(
    start: float, end: float, height: float, names: Sequence[Box]
) -> list[tuple[float, float]]:
    """List the stretches of a level that no name stands on."""
    stretches = []
    for box in sorted(names, key=lambda box: box.left):
        if box.bottom - 0.3 < height < box.top + 0.3 and box.right > start:
            stretches.append((start, max(start, box.left - 0.8)))
            start = box.right + 0.8
    return [*stretches, (min(start, end), end)]


def _most_ticks(width_mm: float) -> int:
    return max(2, int(width_mm / _TICKS_APART_MM))
