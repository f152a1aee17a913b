"""The facing profile: gap against distance from the tip, as a maker reads it off the glass.

The tip is at the left. Left rail solid with filled marks, right rail dashed with open marks;
before thin and grey, after thick and ink, target dotted. Along the top run the glass's own
numbers, along the bottom mm from the tip; blades are faint level lines. A gap is a twentieth of
the length, so it is drawn enlarged, and the picture says how many times.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from app.core.readings import BladeStop
from app.core.units import format_mm, format_number
from app.render.figures import (
    ACCENT,
    FAINT,
    GREY,
    INK,
    MM_PER_PT,
    TEXT_PT,
    Kind,
    LineLook,
    Plot,
    Sheet,
    clean_text,
    draw_sheet,
    line_height_mm,
    nice_ticks,
    text_width_mm,
    wrap_text,
)
from app.render.labels import Array, Box, Label, place_labels, spread

Rail = Literal["left", "right", "mean"]
State = Literal["before", "after", "now", "target"]
Size = Literal["card", "screen", "small"]


@dataclass(frozen=True, slots=True)
class ProfileLine:
    """One rail of one reading set, or a target: its readings, and the curve to draw (mm).

    `name` is the set's own ("before", "target"); the rail's is added. The curve runs where the
    readings bear it out; `pointing_s_mm` and `pointing_gap_mm` go on from there to where it
    points, and are drawn thin. `free` says that no curve was chosen and the line only joins the
    readings.
    """

    name: str
    stops: tuple[BladeStop, ...]
    tip_opening_mm: float | None
    curve_s_mm: tuple[float, ...]
    curve_gap_mm: tuple[float, ...]
    rail: Rail | None
    state: State
    pointing_s_mm: tuple[float, ...] = ()
    pointing_gap_mm: tuple[float, ...] = ()
    free: bool = False


@dataclass(frozen=True, slots=True)
class BladeLevel:
    """A blade's thickness, and how the shop writes it."""

    gap_mm: float
    label: str


@dataclass(frozen=True, slots=True)
class ProfilePicture:
    """What a profile shows. Sizes in mm; without them those of `size` are taken."""

    lines: tuple[ProfileLine, ...]
    blades: tuple[BladeLevel, ...] = ()
    glass_mm_per_number: float = 0.5
    title: str = ""
    notes: tuple[str, ...] = ()
    size: Size = "card"
    width_mm: float | None = None
    height_mm: float | None = None


SIZES_MM: dict[Size, tuple[float, float]] = {
    "card": (170.0, 92.0),
    "screen": (210.0, 120.0),
    "small": (96.0, 100.0),
}
GLASS_WORDS = {0.5: "glass, half-millimetre numbers", 1.0: "glass, whole millimetres"}

_STATE_LOOKS: dict[State, LineLook] = {
    "before": LineLook(color=GREY, width_pt=0.8, mark_pt=4.2),
    "after": LineLook(color=INK, width_pt=1.7, mark_pt=6.2),
    "now": LineLook(color=INK, width_pt=1.7, mark_pt=6.2),
    "target": LineLook(color=ACCENT, width_pt=1.5, mark_pt=4.4, dashes=(1.0, 1.8)),
}
# Dashes are counted in line widths: a thin line needs more of them to look the same.
_RAIL_DASHES: dict[Rail, tuple[float, float]] = {"right": (3.6, 2.0), "mean": (8.0, 2.0)}
_RAIL_MARKS: dict[Rail | None, str] = {"left": "o", "right": "o", "mean": "s", None: "o"}

# A ring is drawn wider than a dot, so that a dot on the same spot leaves it seen.
_RING_PT = 3.0

_EDGE_MM = 1.0
_LEFT_MARGIN_MM = 18.0  # holds "tip 0.00" in bold
_TICK_MM = 1.2
_STUB_MM = 10.0
_STUB_GAP_MM = 1.2


def draw_profile(picture: ProfilePicture, kind: Kind = "svg", dpi: int = 200) -> bytes:
    """Draw a profile as SVG or PNG."""
    width, height = _size_mm(picture)
    return draw_sheet(width, height, lambda sheet: compose_profile(sheet, picture), kind, dpi)


def compose_profile(sheet: Sheet, picture: ProfilePicture) -> None:
    """Draw a profile on a sheet of the picture's size."""
    title = wrap_text(picture.title, sheet.width_mm - 2 * _EDGE_MM, 3, bold=True)
    blades = [(blade, wrap_text(blade.label, 26.0, 1)) for blade in picture.blades]
    plot, times = _plot_of(sheet, picture, title, blades)
    _draw_scales(sheet, plot, picture, title)
    _draw_tips(sheet, plot, picture.lines)
    shown = _joined_where_alike(plot, picture.lines)
    for line, _ in shown:
        _draw_line(sheet, plot, line)
    for line in picture.lines:
        _draw_marks(sheet, plot, line)
    names = _draw_names(sheet, plot, shown, [blade.gap_mm for blade in picture.blades])
    _draw_blades(sheet, plot, blades, names)
    _draw_footer(sheet, plot, _footer_lines(sheet, picture, times))


def look_of(line: ProfileLine) -> LineLook:
    """How one line is drawn: the state gives weight and colour, the rail dashes and marks."""
    base = _STATE_LOOKS[line.state]
    dashes = base.dashes or (_RAIL_DASHES.get(line.rail) if line.rail else None)
    if line.state == "before" and dashes:
        dashes = (dashes[0] * 1.5, dashes[1] * 1.5)
    right = line.rail == "right"
    return LineLook(
        color=base.color,
        width_pt=base.width_pt,
        dashes=dashes,
        mark=_RAIL_MARKS[line.rail],
        mark_pt=base.mark_pt + _RING_PT if right else base.mark_pt,
        mark_open=right,
    )


def _size_mm(picture: ProfilePicture) -> tuple[float, float]:
    width, height = SIZES_MM[picture.size]
    return picture.width_mm or width, picture.height_mm or height


def _plot_of(
    sheet: Sheet,
    picture: ProfilePicture,
    title: list[str],
    blades: list[tuple[BladeLevel, list[str]]],
) -> tuple[Plot, float]:
    """Lay the window out, and find how many times the gap is drawn larger than the length."""
    row = line_height_mm()
    longest, widest = _extent_mm(picture)
    words = ["blade", *(text for _, lines in blades for text in lines)]
    right = max(text_width_mm(text) for text in words) + 3.5
    top = _EDGE_MM + row * (len(title) + 2) + _TICK_MM + 1.0
    # The footer's length doesn't change with the enlargement's digits, save by a letter or two.
    footer = len(_footer_lines(sheet, picture, 88))
    bottom = _EDGE_MM + row * (footer + 2) + _TICK_MM + 1.5
    left = _LEFT_MARGIN_MM
    width = sheet.width_mm - left - right
    height = sheet.height_mm - top - bottom
    below, above, before = 1.5, 3.5, 1.5
    paper_per_mm = (width - before) / longest
    times = (height - below - above) / (widest * paper_per_mm)
    times = max(math.floor(times * 2) / 2 if times >= 3 else math.floor(times * 10) / 10, 0.1)
    paper_per_gap = paper_per_mm * times
    plot = Plot(
        left, bottom, width, height,
        x_low=-before / paper_per_mm, x_high=longest,
        y_low=-below / paper_per_gap, y_high=(height - below) / paper_per_gap,
    )  # fmt: skip
    return plot, times


def _extent_mm(picture: ProfilePicture) -> tuple[float, float]:
    """Find the greatest distance from the tip and the greatest gap to be shown."""
    lengths, gaps = [2.0], [0.1]
    for line in picture.lines:
        lengths += [*line.curve_s_mm, *(stop.position_mm for stop in line.stops)]
        gaps += [*line.curve_gap_mm, *line.pointing_gap_mm, *(stop.gap_mm for stop in line.stops)]
        gaps.append(line.tip_opening_mm or 0.0)
    gaps += [blade.gap_mm for blade in picture.blades]
    if not picture.lines:
        lengths.append(20.0)
    return max(lengths) + 1.0, max(gaps)


def _footer_lines(sheet: Sheet, picture: ProfilePicture, times: float) -> list[str]:
    enlarged = format_number(times, 1)
    texts = [f"Gap drawn {enlarged} times enlarged against the length."]
    if not picture.lines:
        texts.append("Nothing has been measured yet.")
    free = [_name_of(line) for line in picture.lines if line.free]
    if free:
        texts.append(
            f"No curve was chosen for {'; '.join(free)}: drawn freely through its readings."
        )
    if any(line.pointing_s_mm for line in picture.lines):
        texts.append("Thin at the tip: where the rails' curve points.")
    texts += picture.notes
    wide = sheet.width_mm - 1.5 - _LEFT_MARGIN_MM - _EDGE_MM
    return [line for text in texts for line in wrap_text(text, wide, 3)]


def _draw_scales(sheet: Sheet, plot: Plot, picture: ProfilePicture, title: list[str]) -> None:
    row = line_height_mm()
    for place, text in enumerate(title):
        y = sheet.height_mm - _EDGE_MM - row * (place + 0.8)
        sheet.text(_EDGE_MM, y, text, bold=True)
    strokes = [
        ((plot.x(0), plot.y(0)), (plot.right_mm, plot.y(0))),
        ((plot.x(0), plot.y(0)), (plot.x(0), plot.top_mm)),
    ]
    per_number = picture.glass_mm_per_number
    least_apart = 9.0
    most = max(2, int(plot.width_mm / least_apart))
    for number in nice_ticks(0, plot.x_high / per_number, most):
        x = plot.x(number * per_number)
        strokes.append(((x, plot.top_mm), (x, plot.top_mm + _TICK_MM)))
        sheet.text(x, plot.top_mm + _TICK_MM + 0.9, format_number(number, 2), across="center")
    glass = GLASS_WORDS.get(per_number, f"glass, numbers of {format_number(per_number, 3)} mm")
    sheet.text(plot.x(0), plot.top_mm + _TICK_MM + 0.9 + row, glass, color=GREY)
    for s_mm in nice_ticks(0, plot.x_high, max(2, int(plot.width_mm / least_apart))):
        x = plot.x(s_mm)
        strokes.append(((x, plot.bottom_mm), (x, plot.bottom_mm - _TICK_MM)))
        sheet.text(
            x, plot.bottom_mm - _TICK_MM - 0.6, format_number(s_mm, 1), across="center", up="top"
        )
    sheet.text(
        plot.x(0), plot.bottom_mm - _TICK_MM - 0.6 - row, "mm from the tip", color=GREY, up="top"
    )
    strokes.append(((plot.x(0), plot.bottom_mm), (plot.right_mm, plot.bottom_mm)))
    strokes.append(((plot.x(0), plot.top_mm), (plot.right_mm, plot.top_mm)))
    sheet.strokes(strokes, color=GREY, width_pt=0.5)


def _draw_blades(
    sheet: Sheet, plot: Plot, blades: list[tuple[BladeLevel, list[str]]], names: list[Box]
) -> None:
    """Draw each blade's level, leaving out what would run through a name."""
    row = line_height_mm()
    heights = [plot.y(blade.gap_mm) for blade, _ in blades]
    places = spread(heights, row, plot.bottom_mm + 1.0, plot.top_mm - row - 1.0)
    strokes = []
    for (_, lines), height, place in zip(blades, heights, places, strict=True):
        strokes += [((start, height), (end, height)) for start, end in _free(plot, height, names)]
        strokes.append(((plot.right_mm, height), (plot.right_mm + 2.0, place)))
        sheet.text(plot.right_mm + 2.5, place, " ".join(lines), color=GREY, up="center_baseline")
    sheet.strokes(strokes, color=FAINT, width_pt=0.4, layer=0.5)
    if blades:
        sheet.text(plot.right_mm + 2.5, plot.top_mm, "blade", color=GREY, up="center_baseline")


def _free(plot: Plot, height: float, names: list[Box]) -> list[tuple[float, float]]:
    """List the stretches of a level that no name stands on."""
    stretches, start = [], plot.x(0)
    for box in sorted(names, key=lambda box: box.left):
        if box.bottom - 0.3 < height < box.top + 0.3 and box.right > start:
            stretches.append((start, max(start, box.left - 0.8)))
            start = box.right + 0.8
    return [*stretches, (min(start, plot.right_mm), plot.right_mm)]


def _draw_tips(sheet: Sheet, plot: Plot, lines: tuple[ProfileLine, ...]) -> None:
    """Write tip openings in the left margin, among the round numbers of the gap's scale."""
    row = line_height_mm()
    tips: dict[tuple[str, State, float], None] = {}
    for line in lines:
        if line.tip_opening_mm is not None:
            tips[line.name, line.state, line.tip_opening_mm] = None
    heights = [plot.y(tip) for _, _, tip in tips]
    places = spread(heights, row, plot.bottom_mm, plot.top_mm - row)
    right = plot.left_mm - 1.5
    for (_, state, tip), height, place in zip(tips, heights, places, strict=True):
        look = _STATE_LOOKS[state]
        sheet.text(
            right, place, f"tip {format_mm(tip)}", color=look.color, bold=look.width_pt > 1.5,
            across="right", up="center_baseline",
        )  # fmt: skip
        if abs(place - height) > 0.3:
            sheet.strokes([((right + 0.5, place), (plot.x(0), height))])
    taken = [*places, plot.top_mm]
    strokes = []
    for gap in nice_ticks(0, plot.y_high, max(2, int(plot.height_mm / 7.0))):
        height = plot.y(gap)
        if all(abs(height - other) >= row for other in taken):
            strokes.append(((plot.x(0), height), (plot.x(0) - _TICK_MM, height)))
            sheet.text(
                right, height, format_number(gap, 2, least=1), across="right", up="center_baseline"
            )
    sheet.strokes(strokes, color=GREY)
    sheet.text(right, plot.top_mm, "gap, mm", color=GREY, across="right", up="center_baseline")


def _draw_line(sheet: Sheet, plot: Plot, line: ProfileLine) -> None:
    look = look_of(line)
    layer = 2.2 if line.state in ("after", "now") else 2.4
    if len(line.curve_s_mm) > 1:
        sheet.line(*plot.place(line.curve_s_mm, line.curve_gap_mm), look, layer)
    if len(line.pointing_s_mm) > 1:
        thin = LineLook(color=look.color, width_pt=0.5, dashes=look.dashes)
        sheet.line(*plot.place(line.pointing_s_mm, line.pointing_gap_mm), thin, layer)


def _draw_marks(sheet: Sheet, plot: Plot, line: ProfileLine) -> None:
    look = look_of(line)
    # Rings lie under dots, so that where both rails read the same both are seen.
    layer = 3.0 if look.mark_open else 3.5
    if line.stops and line.state != "target":
        s_mm = [stop.position_mm for stop in line.stops]
        sheet.marks(*plot.place(s_mm, [stop.gap_mm for stop in line.stops]), look, layer)
    if line.tip_opening_mm is not None:
        tip = LineLook(color=look.color, mark="D", mark_pt=look.mark_pt - _RING_PT * look.mark_open)
        sheet.marks(*plot.place([0.0], [line.tip_opening_mm]), tip, 3.8)


def _name_of(line: ProfileLine, alike: bool = False) -> str:
    return clean_text(line.name) + _rail_words(line, alike)


def _rail_words(line: ProfileLine, alike: bool) -> str:
    if line.rail is None:
        return ""
    return ", left and right alike" if alike else f", {line.rail}"


def _name_lines(line: ProfileLine, alike: bool, width_mm: float, most_lines: int) -> list[str]:
    """Break a name into lines; a name that must be cut keeps its rail."""
    ending = "…" + _rail_words(line, alike)
    return wrap_text(_name_of(line, alike), width_mm, most_lines, ending=ending)


def _joined_where_alike(
    plot: Plot, lines: tuple[ProfileLine, ...]
) -> list[tuple[ProfileLine, bool]]:
    """Leave out a right rail that would lie on its left one; tell for each line if one did."""
    shown: list[tuple[ProfileLine, bool]] = []
    for line in lines:
        twin = next(
            (
                place
                for place, (other, _) in enumerate(shown)
                if (other.name, other.state) == (line.name, line.state)
                and {other.rail, line.rail} == {"left", "right"}
                and _alike(plot, other, line)
            ),
            None,
        )
        if twin is None:
            shown.append((line, False))
        else:
            left = line if line.rail == "left" else shown[twin][0]
            shown[twin] = (left, True)
    return shown


def _alike(plot: Plot, one: ProfileLine, other: ProfileLine) -> bool:
    """Tell if two lines lie on each other on paper, to about a line's width."""
    if len(one.curve_s_mm) < 2 or len(other.curve_s_mm) < 2:
        return False
    ends = [abs(plot.x(max(one.curve_s_mm)) - plot.x(max(other.curve_s_mm)))]
    s_mm = np.linspace(0.0, min(max(one.curve_s_mm), max(other.curve_s_mm)), 25)
    gaps = [np.interp(s_mm, *_rising(line.curve_s_mm, line.curve_gap_mm)) for line in (one, other)]
    apart = np.max(np.abs(gaps[0] - gaps[1])) * plot.height_mm / (plot.y_high - plot.y_low)
    return max(*ends, float(apart)) < 0.35


def _rising(
    s_mm: tuple[float, ...], gap_mm: tuple[float, ...]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Turn a curve to run from the tip to the break, as interpolation wants it."""
    return (s_mm, gap_mm) if s_mm[0] <= s_mm[-1] else (s_mm[::-1], gap_mm[::-1])


def _draw_names(
    sheet: Sheet, plot: Plot, shown: list[tuple[ProfileLine, bool]], levels: list[float]
) -> list[Box]:
    """Write each line's name beside it; give the places taken."""
    named = [(line, alike) for line, alike in shown if len(line.curve_s_mm) > 1]
    if not named:
        return []
    marks = [
        point
        for line, _ in shown
        for point in zip(
            *plot.place(
                [stop.position_mm for stop in line.stops], [stop.gap_mm for stop in line.stops]
            ),
            strict=True,
        )
    ]
    area = Box(plot.x(0) + 1.0, plot.y(0) + 1.0, plot.right_mm, plot.top_mm - 0.8)
    heights = [plot.y(level) for level in levels]
    curves = [np.column_stack(plot.place(line.curve_s_mm, line.curve_gap_mm)) for line, _ in named]
    widest = min(46.0, plot.width_mm * 0.5)
    for most_lines in (3, 2, 1):  # long names are cut shorter until there is room for all
        texts = [_name_lines(line, alike, widest, most_lines) for line, alike in named]
        labels = [_label(lines, curve) for lines, curve in zip(texts, curves, strict=True)]
        places = place_labels(labels, area, np.array(marks), heights)
        if all(place.clear for place in places):
            break
    for (line, alike), lines, place in zip(named, texts, places, strict=True):
        sheet.strokes([place.leader], color=GREY, width_pt=0.45, layer=1.5)
        middle = (place.box.bottom + place.box.top) / 2
        # The sample is at the leader's end of the name.
        stub = place.box.left if place.rightward else place.box.right - _STUB_MM
        _draw_stub(sheet, line, alike, stub, middle)
        sheet.text(
            stub + _STUB_MM + _STUB_GAP_MM if place.rightward else stub - _STUB_GAP_MM,
            middle,
            "\n".join(lines),
            color=look_of(line).color,
            across="left" if place.rightward else "right",
            up="center",
        )
    return [place.box for place in places]


def _label(lines: list[str], curve: Array) -> Label:
    width = _STUB_MM + _STUB_GAP_MM + max(text_width_mm(text) for text in lines)
    return Label(width, line_height_mm() * len(lines), curve)


def _draw_stub(sheet: Sheet, line: ProfileLine, alike: bool, left: float, middle: float) -> None:
    """Draw a sample of the line before its name, so that a close pair can't be mistaken."""
    look = look_of(line)
    if look.dashes and line.state != "target":
        # The sample's middle is the middle of a dash, so that its two ends look alike.
        half = _STUB_MM / 2 / MM_PER_PT / look.width_pt
        look = replace(look, phase=(look.dashes[0] / 2 - half) % sum(look.dashes))
    sheet.line([left, left + _STUB_MM], [middle, middle], look)
    if line.state == "target":
        return
    centre = left + _STUB_MM / 2
    sheet.marks([centre], [middle], look, 3.5 if not look.mark_open else 3.0)
    if alike:
        ring = replace(look, mark_pt=look.mark_pt + _RING_PT, mark_open=True)
        sheet.marks([centre], [middle], ring, 3.0)


def _draw_footer(sheet: Sheet, plot: Plot, lines: list[str]) -> None:
    row = line_height_mm()
    top = plot.bottom_mm - _TICK_MM - 0.6 - 2 * row - 0.6
    for number, text in enumerate(lines):
        sheet.text(plot.x(0), top - row * number, text, color=GREY, points=TEXT_PT, up="top")
