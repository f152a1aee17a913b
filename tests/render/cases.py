"""Facings to draw: readings as a maker would write them, with an exact arc through each rail."""

import numpy as np

from app.core.readings import BladeStop
from app.core.units import format_blade
from app.render.profile import BladeLevel, ProfileLine, ProfilePicture, Rail, State

CLARINET_BLADES_MM = (0.0381, 0.254, 0.6096, 0.8636)
SAXOPHONE_BLADES_MM = (0.0381, 0.127, 0.254, 0.4064, 0.6096, 0.8636, 1.27)


def blade_levels(gaps_mm=CLARINET_BLADES_MM):
    """Give the shop's blades as levels."""
    return tuple(BladeLevel(gap, format_blade(gap)) for gap in gaps_mm)


def arc(break_mm, radius_mm, s_mm):
    """Give the gap of a circular arc at distances from the tip."""
    u = np.clip(break_mm - np.asarray(s_mm, float), 0, None)
    return radius_mm - np.sqrt(radius_mm**2 - u**2)


def fitted_arc(stops):
    """Fit an arc through one rail's readings: least squares, near enough for pictures."""
    root = np.sqrt([stop.gap_mm for stop in stops])
    slope, break_mm = np.polyfit(root, [stop.position_mm for stop in stops], 1)
    return float(break_mm), float(slope**2 / 2)


def profile_line(
    numbers,
    tip_mm,
    rail: Rail | None,
    state: State,
    name=None,
    gaps_mm=CLARINET_BLADES_MM,
    mm_per_number=0.5,
    **fields,
):
    """One rail from glass numbers, thin blade first."""
    stops = tuple(
        BladeStop(gap, number * mm_per_number)
        for gap, number in zip(gaps_mm, numbers, strict=True)
        if number is not None
    )
    break_mm, radius_mm = fitted_arc(stops)
    last = min(stop.position_mm for stop in stops)
    whole = tip_mm is not None and abs(arc(break_mm, radius_mm, 0.0) - tip_mm) < 0.02
    s_mm = np.linspace(0.0 if whole else last, break_mm, 80)
    gap_mm = arc(break_mm, radius_mm, s_mm)
    beyond = np.linspace(0.0, last, 12)
    if not whole and tip_mm is not None:
        # From the last blade to the measured tip: straight in √h.
        root = np.interp(beyond, [0.0, last], np.sqrt([tip_mm, gap_mm[0]]))
        s_mm = np.concatenate([beyond[:-1], s_mm])
        gap_mm = np.concatenate([root[:-1] ** 2, gap_mm])
    if not whole and state != "target":
        fields["pointing_s_mm"] = tuple(beyond.tolist())
        fields["pointing_gap_mm"] = tuple(arc(break_mm, radius_mm, beyond).tolist())
    return ProfileLine(
        name=name or state,
        stops=() if state == "target" else stops,
        tip_opening_mm=tip_mm,
        curve_s_mm=tuple(s_mm.tolist()),
        curve_gap_mm=tuple(gap_mm.tolist()),
        rail=rail,
        state=state,
        **fields,
    )


def before_and_after(**fields):
    """34 22 12 6 / 1.02 as received, 36 24 14 7 / 1.10 as returned, rails half a number apart."""
    return ProfilePicture(
        lines=(
            profile_line((34, 22, 12, 6), 1.02, "left", "before"),
            profile_line((33.5, 22, 11.5, 6), 1.02, "right", "before"),
            profile_line((36, 24, 14, 7), 1.10, "left", "after"),
            profile_line((36, 24, 14.5, 7.5), 1.10, "right", "after"),
        ),
        blades=blade_levels(),
        **fields,
    )


def one_rail(**fields):
    """Only the left rail was read, before and after."""
    return ProfilePicture(
        lines=(
            profile_line((34, 22, 12, 6), 1.02, "left", "before"),
            profile_line((36, 24, 14, 7), 1.10, "left", "after"),
        ),
        blades=blade_levels(),
        **fields,
    )


def no_tip(**fields):
    """Two rails, and no wedge at hand."""
    return ProfilePicture(
        lines=(
            profile_line((36, 24, 14, 7), None, "left", "now"),
            profile_line((35, 23, 13, 6), None, "right", "now"),
        ),
        blades=blade_levels(),
        **fields,
    )


def alike(**fields):
    """Rails that read the same before and after, and a target."""
    return ProfilePicture(
        lines=(
            profile_line((34, 22, 12, 6), 1.02, "left", "before"),
            profile_line((34, 22, 12, 6), 1.02, "right", "before"),
            profile_line((36, 24, 14, 7), 1.10, "left", "after"),
            profile_line((36, 24, 14, 7), 1.10, "right", "after"),
            profile_line((37, 25, 14.5, 8), 1.15, None, "target"),
        ),
        blades=blade_levels(),
        **fields,
    )


def uneven(**fields):
    """Rails one number apart at every blade."""
    return ProfilePicture(
        lines=(
            profile_line((34, 22, 12, 6), 1.02, "left", "before"),
            profile_line((33, 21, 11, 5), 1.02, "right", "before"),
            profile_line((36, 24, 14, 7), 1.10, "left", "after"),
            profile_line((35, 23, 13, 6), 1.10, "right", "after"),
        ),
        blades=blade_levels(),
        **fields,
    )


def tenor(**fields):
    """Give a tenor saxophone's facing on a glass of whole millimetres."""
    gaps = SAXOPHONE_BLADES_MM
    before = (23.0, 19.5, 17.0, 14.5, 12.0, 9.5, 5.5)
    after = (25.0, 21.25, 18.5, 16.0, 13.5, 11.0, 7.0)
    lines = (
        profile_line(before, 2.3, "left", "before", gaps_mm=gaps, mm_per_number=1),
        profile_line(
            [n - 0.25 for n in before], 2.3, "right", "before", gaps_mm=gaps, mm_per_number=1
        ),
        profile_line(after, 2.6, "left", "after", gaps_mm=gaps, mm_per_number=1),
        profile_line(
            [n - 0.5 for n in after], 2.6, "right", "after", gaps_mm=gaps, mm_per_number=1
        ),
    )
    return ProfilePicture(lines=lines, blades=blade_levels(gaps), glass_mm_per_number=1.0, **fields)


def baritone(**fields):
    """Give the longest and most open: 30 mm and 3 mm, with a target a little beyond."""
    gaps = SAXOPHONE_BLADES_MM
    now = (30.0, 26.0, 23.0, 20.0, 17.0, 14.0, 10.0)
    lines = (
        profile_line(now, 3.0, "left", "now", gaps_mm=gaps, mm_per_number=1),
        profile_line(now, 3.0, "right", "now", gaps_mm=gaps, mm_per_number=1),
        profile_line([n + 0.8 for n in now], 3.1, None, "target", gaps_mm=gaps, mm_per_number=1),
    )
    return ProfilePicture(lines=lines, blades=blade_levels(gaps), glass_mm_per_number=1.0, **fields)


def e_flat(**fields):
    """Give the smallest: an E♭ clarinet."""
    return ProfilePicture(
        lines=(
            profile_line((28, 18, 10, 4), 0.95, "left", "before"),
            profile_line((28, 18, 9.5, 4), 0.95, "right", "before"),
            profile_line((29, 19, 10, 5), 1.0, "left", "after"),
            profile_line((29, 19, 10, 4.5), 1.0, "right", "after"),
        ),
        blades=blade_levels(),
        **fields,
    )


def shorter_but_more_open(**fields):
    """Lines of before and after cross."""
    return ProfilePicture(
        lines=(
            profile_line((38, 24, 12, 5), 1.00, "left", "before"),
            profile_line((37.5, 24, 12, 5), 1.00, "right", "before"),
            profile_line((34, 23, 14, 8), 1.18, "left", "after"),
            profile_line((34, 23, 13.5, 8), 1.18, "right", "after"),
        ),
        blades=blade_levels(),
        **fields,
    )


FACINGS = {
    case.__name__: case
    for case in (
        before_and_after, one_rail, no_tip, alike, uneven, tenor, baritone, e_flat,
        shorter_but_more_open,
    )
}  # fmt: skip
