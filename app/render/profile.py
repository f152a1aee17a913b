"""The facing profile: gap against distance from the tip, as a maker reads it off the glass.

The tip is at the left. Along the top run the glass's own numbers, along the bottom mm from the
tip; blades are faint level lines. A gap is a twentieth of the length, so it is drawn enlarged,
and the picture says how many times. The straight-line view is the same picture with the gap on
a root scale, where a circular arc is nearly a straight line and a reading out of line shows.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.core.facing.unread import Unread, list_unread
from app.core.values.units import format_mm, format_number
from app.render.figures import (
    ACCENT,
    GREY,
    LineLook,
    Plot,
    Sheet,
    clean_text,
    line_height_mm,
    nice_ticks,
    wrap_text,
)
from app.render.labels import Box, spread
from app.render.looks import (
    RING_PT,
    STATE_LOOKS,
    BladeLevel,
    ProfileLine,
    State,
    look_of,
    name_lines,
    name_of,
)
from app.render.names import NamedLine, write_names
from app.render.scales import (
    Picture,
    draw_footer,
    draw_glass_scale,
    draw_left_scale,
    draw_levels,
    draw_lower_scale,
    drawer,
    lay_margins,
    plot_within,
    shade_unread,
)

# Kept free inside the plot, for marks and thick lines at its edges (mm on paper).
_BELOW_MM, _ABOVE_MM, _BEFORE_TIP_MM = 1.5, 3.5, 1.5
_HATCH_MM = 1.6
_ALIKE_MM = 0.35  # lines nearer than their own width are one line on paper
_ROOT_TICKS_MM = (0.0, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.3, 1.6, 2.0, 2.5, 3.0, 3.5, 4.0)


@dataclass(frozen=True, slots=True)
class ProfilePicture(Picture):
    """What a profile shows."""

    lines: tuple[ProfileLine, ...]
    blades: tuple[BladeLevel, ...] = ()
    hatched: bool = False  # what is still to come off, between the line now and the target


def describe_profile(picture: ProfilePicture) -> str:
    """Say in words what a profile shows, for those who can't see it."""
    if not picture.lines:
        return "Facing profile: nothing has been measured yet."
    names = "; ".join(name_of(line) for line in picture.lines)
    tips = {clean_text(line.name) or "measured": line.tip_opening_mm for line in picture.lines}
    openings = [f"{name} {format_mm(tip)} mm" for name, tip in tips.items() if tip is not None]
    ending = f" Tip opening: {', '.join(openings)}." if openings else ""
    return f"Facing profile, gap against distance from the tip: {names}.{ending}"


def compose_profile(sheet: Sheet, picture: ProfilePicture) -> None:
    """Draw a profile on a sheet of the picture's size."""
    _compose(sheet, picture, root=False)


draw_profile = drawer(compose_profile)


def compose_straight_line(sheet: Sheet, picture: ProfilePicture) -> None:
    """Draw the straight-line view on a sheet of the picture's size."""
    _compose(sheet, picture, root=True)


draw_straight_line = drawer(compose_straight_line)


def _compose(sheet: Sheet, picture: ProfilePicture, *, root: bool) -> None:
    beside = ["blade", *(_blade_words(blade) for blade in picture.blades)]
    # The footer's length doesn't hang on the number, which is only known once it is laid out.
    footer = _footer(picture, 88.5, root)
    margins = lay_margins(sheet, footer=footer, beside=beside, glass=True)
    plot = plot_within(sheet, margins, 0.0, 1.0, 0.0, 1.0)
    plot, times = _root_scaled(plot, picture) if root else _scaled(plot, picture)
    footer = _footer(picture, times, root)
    margins = lay_margins(sheet, footer=footer, beside=beside, glass=True)
    draw_footer(sheet, plot, margins, from_x=0.0)
    draw_glass_scale(sheet, plot, picture.glass_mm_per_number)
    draw_lower_scale(sheet, plot, "mm from the tip", low=0.0)
    _draw_gap_scale(sheet, plot, picture.lines, root)
    shown = _joined_where_alike(plot, picture.lines)
    if picture.hatched:
        _hatch_left(sheet, plot, picture.lines)
        for unread in _unread_of(picture):
            shade_unread(sheet, plot, unread)
    for line, _ in shown:
        _draw_line(sheet, plot, line)
    for line in picture.lines:
        _draw_marks(sheet, plot, line)
    names = _write_names(sheet, plot, shown, [blade.gap_mm for blade in picture.blades])
    levels = [(blade.gap_mm, _blade_words(blade)) for blade in picture.blades]
    draw_levels(sheet, plot, levels, names, heading="blade", from_x=0.0)


def _blade_words(blade: BladeLevel) -> str:
    return "".join(wrap_text(blade.label, 26.0, 1))


def _scaled(plot: Plot, picture: ProfilePicture) -> tuple[Plot, float]:
    """Scale the plot so that the gap is drawn a round number of times larger than the length."""
    longest, widest = _extent_mm(picture)
    paper_per_mm = (plot.width_mm - _BEFORE_TIP_MM) / longest
    times = (plot.height_mm - _BELOW_MM - _ABOVE_MM) / (widest * paper_per_mm)
    times = max(math.floor(times * 2) / 2 if times >= 3 else math.floor(times * 10) / 10, 0.1)
    paper_per_gap = paper_per_mm * times
    scaled = replace(
        plot,
        x_low=-_BEFORE_TIP_MM / paper_per_mm,
        x_high=longest,
        y_low=-_BELOW_MM / paper_per_gap,
        y_high=(plot.height_mm - _BELOW_MM) / paper_per_gap,
    )
    return scaled, times


def _root_scaled(plot: Plot, picture: ProfilePicture) -> tuple[Plot, float]:
    longest, widest = _extent_mm(picture)
    before = _BEFORE_TIP_MM / (plot.width_mm - _BEFORE_TIP_MM) * longest
    below = math.sqrt(widest) * _BELOW_MM / (plot.height_mm - _ABOVE_MM)
    above = math.sqrt(widest) * _ABOVE_MM / (plot.height_mm - _ABOVE_MM)
    high = (math.sqrt(widest) + above) ** 2
    return replace(
        plot, x_low=-before, x_high=longest, y_low=-(below**2), y_high=high, root=True
    ), 1.0


def _extent_mm(picture: ProfilePicture) -> tuple[float, float]:
    """Find the greatest distance from the tip and the greatest gap to be shown."""
    lengths, gaps = [2.0], [0.4]
    for line in picture.lines:
        lengths += [*line.curve_s_mm, *(stop.position_mm for stop in line.stops)]
        gaps += [*line.curve_gap_mm, *line.pointing_gap_mm, *(stop.gap_mm for stop in line.stops)]
        gaps.append(line.tip_opening_mm or 0.0)
    gaps += [blade.gap_mm for blade in picture.blades]
    if not picture.lines:
        lengths.append(20.0)
    return max(lengths) + 1.0, max(gaps)


def _footer(picture: ProfilePicture, times: float, root: bool) -> list[str]:
    texts = [
        "The gap is on a root scale: a circular arc is nearly straight."
        if root
        else f"Gap drawn {format_number(times, 1)} times enlarged against the length."
    ]
    if not picture.lines:
        texts.append("Nothing has been measured yet.")
    free = [name_of(line) for line in picture.lines if line.free]
    if free:
        texts.append(f"No curve was chosen for {'; '.join(free)}: drawn through the readings.")
    if any(line.state == "earlier" and line.rail is None for line in picture.lines):
        texts.append("Each line is the mean of both rails, unless it names one.")
    if picture.hatched:
        texts.append("Hatched: still to come off.")
        if _unread_of(picture):
            texts.append("Slanting strokes: not read.")
    if any(line.pointing_s_mm for line in picture.lines):
        texts.append("Thin at the tip: where the rails' curve points.")
    return [*texts, *picture.notes]


def _unread_of(picture: ProfilePicture) -> list[Unread]:
    """List what of the rails as they stand was not read, rails alike once."""
    rails = [line for line in picture.lines if line.state == "now" and line.drawn]
    stretches = [
        list_unread(line.stops, line.tip_opening_mm, *map(np.array, _rising_curve(line)))
        for line in rails
    ]
    return list(dict.fromkeys(stretch for of_rail in stretches for stretch in of_rail))


def _rising_curve(line: ProfileLine) -> tuple[list[float], list[float]]:
    return _rising(list(line.curve_s_mm), list(line.curve_gap_mm))


def _draw_gap_scale(sheet: Sheet, plot: Plot, lines: Sequence[ProfileLine], root: bool) -> None:
    """Write tip openings in the left margin, among the round numbers of the gap's scale."""
    row = line_height_mm()
    most = int((plot.height_mm - row) / row)
    tips = _tips_to_write(lines)[-most:]
    heights = [plot.y(tip) for _, tip in tips]
    places = spread(heights, row, plot.bottom_mm, plot.top_mm - row)
    right = plot.left_mm - 1.7
    for (state, tip), height, place in zip(tips, heights, places, strict=True):
        look = STATE_LOOKS[state]
        sheet.text(
            right, place, f"tip {format_mm(tip)}", color=look.color, bold=look.width_pt > 1.5,
            across="right", up="center",
        )  # fmt: skip
        if abs(place - height) > 0.3:
            sheet.strokes([((right + 0.5, place), (plot.x(0), height))])
    ticks = (
        [gap for gap in _ROOT_TICKS_MM if gap <= plot.y_high]
        if root
        else nice_ticks(0, plot.y_high, max(2, int(plot.height_mm / 7.0)))
    )
    draw_left_scale(
        sheet, plot, "gap, mm", ticks, lambda gap: format_number(gap, 2, least=1),
        taken=places, from_x=0.0,
    )  # fmt: skip
    sheet.strokes([((plot.x(0), plot.y(0)), (plot.right_mm, plot.y(0)))], color=GREY)


def _tips_to_write(lines: Sequence[ProfileLine]) -> list[tuple[State, float]]:
    """List each tip opening once, in the look of the last line that has it."""
    tips: dict[float, State] = {}
    for line in lines:
        if line.tip_opening_mm is not None:
            tips.pop(line.tip_opening_mm, None)
            tips[line.tip_opening_mm] = line.state
    return [(state, tip) for tip, state in tips.items()]


def _draw_line(sheet: Sheet, plot: Plot, line: ProfileLine) -> None:
    look = look_of(line)
    layer = 2.2 if line.state in ("after", "now") else 2.4
    if line.drawn:
        sheet.line(*plot.place(line.curve_s_mm, line.curve_gap_mm), look, layer)
    if len(line.pointing_s_mm) > 1:
        thin = LineLook(color=look.color, width_pt=0.5, dashes=look.dashes)
        sheet.line(*plot.place(line.pointing_s_mm, line.pointing_gap_mm), thin, layer)


def _hatch_left(sheet: Sheet, plot: Plot, lines: Sequence[ProfileLine]) -> None:
    """Hatch upright what is left between each rail as it stands and its target above it."""
    for line in lines:
        target = next(
            (
                other
                for other in lines
                if other.state == "target" and other.drawn and other.rail in (None, line.rail)
            ),
            None,
        )
        if line.state != "now" or not line.drawn or target is None:
            continue
        start = plot.x(0.0) + _HATCH_MM / (4.0 if line.rail == "right" else 2.0)
        across, floor = np.arange(start, plot.right_mm, _HATCH_MM), plot.y(0.0)
        low, high = (
            np.interp(
                across, *_rising(*plot.place(edge.curve_s_mm, edge.curve_gap_mm)), right=floor
            )
            for edge in (line, target)
        )
        sheet.strokes(
            [
                ((float(x), float(y1)), (float(x), float(y2)))
                for x, y1, y2 in zip(across, low, high, strict=True)
                if y2 - y1 > _ALIKE_MM
            ],
            color=ACCENT,
            width_pt=0.7,
            layer=1.6,
        )


def _draw_marks(sheet: Sheet, plot: Plot, line: ProfileLine) -> None:
    look = look_of(line)
    # Rings lie under dots, so that where both rails read the same both are seen.
    layer = 3.0 if look.mark_open else 3.5
    if line.stops and line.state != "target":
        sheet.marks(*_stops_placed(plot, line), look, layer)
    if line.tip_opening_mm is not None:
        tip = LineLook(color=look.color, mark="D", mark_pt=look.mark_pt - RING_PT * look.mark_open)
        sheet.marks(*plot.place([0.0], [line.tip_opening_mm]), tip, 3.8)


def _stops_placed(plot: Plot, line: ProfileLine) -> tuple[list[float], list[float]]:
    return plot.place(
        [stop.position_mm for stop in line.stops], [stop.gap_mm for stop in line.stops]
    )


def _joined_where_alike(plot: Plot, lines: Sequence[ProfileLine]) -> list[tuple[ProfileLine, bool]]:
    """Leave out a right rail that would lie on its left one; tell for each line if one did."""
    shown: list[tuple[ProfileLine, bool]] = []
    for line in lines:
        twin = next((at for at, (other, _) in enumerate(shown) if _alike(plot, other, line)), None)
        if twin is None:
            shown.append((line, False))
        else:
            left = line if line.rail == "left" else shown[twin][0]
            shown[twin] = (left, True)
    return shown


def _alike(plot: Plot, line: ProfileLine, twin: ProfileLine) -> bool:
    """Tell if two rails of one set lie on each other on paper, to about a line's width."""
    if (line.name, line.state) != (twin.name, twin.state):
        return False
    if {line.rail, twin.rail} != {"left", "right"} or not (line.drawn and twin.drawn):
        return False
    (x1, y1), (x2, y2) = (plot.place(rail.curve_s_mm, rail.curve_gap_mm) for rail in (line, twin))
    stops1, stops2 = ([plot.x(stop.position_mm) for stop in rail.stops] for rail in (line, twin))
    if len(stops1) != len(stops2):
        return False
    ends = [abs(a - b) for a, b in zip((*stops1, max(x1)), (*stops2, max(x2)), strict=True)]
    across = np.linspace(plot.x(0.0), min(max(x1), max(x2)), 25)
    up = np.interp(across, *_rising(x1, y1)) - np.interp(across, *_rising(x2, y2))
    return max(*ends, float(np.abs(up).max())) < _ALIKE_MM


def _rising(x: list[float], y: list[float]) -> tuple[list[float], list[float]]:
    """Turn a curve to run from left to right, as interpolation wants it."""
    return (x, y) if x[0] <= x[-1] else (x[::-1], y[::-1])


def _write_names(
    sheet: Sheet,
    plot: Plot,
    shown: Sequence[tuple[ProfileLine, bool]],
    levels: Sequence[float],
) -> list[Box]:
    def named(line: ProfileLine, alike: bool) -> NamedLine:
        x_mm, y_mm = (
            plot.place(line.curve_s_mm, line.curve_gap_mm)
            if line.drawn
            else _stops_placed(plot, line)
        )
        look = look_of(line)
        if line.state == "target":
            look = replace(look, mark=None)
        return NamedLine(
            x_mm, y_mm, look, lambda width, most: name_lines(line, alike, width, most), alike
        )

    marks = [point for line, _ in shown for point in zip(*_stops_placed(plot, line), strict=True)]
    area = Box(plot.x(0) + 1.0, plot.y(0) + 1.0, plot.right_mm, plot.top_mm - 0.8)
    lines = [named(line, alike) for line, alike in shown if line.drawn or line.stops]
    return write_names(sheet, area, lines, marks, [plot.y(level) for level in levels])
