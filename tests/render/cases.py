"""Facings to draw: readings as a maker would write them, analysed as the program does."""

import numpy as np

from app.core.facing.analysis import analyse_facing
from app.core.facing.profiles import trace_curve
from app.core.values.readings import BladeStop, FacingReadings
from app.core.values.units import format_blade
from app.render.lines import profile_lines
from app.render.looks import BladeLevel, ProfileLine, Rail, State
from app.render.profile import ProfilePicture

CLARINET_BLADES_MM = (0.0381, 0.254, 0.6096, 0.8636)
SAXOPHONE_BLADES_MM = (0.0381, 0.127, 0.254, 0.4064, 0.6096, 0.8636, 1.27)


def blade_levels(gaps_mm=CLARINET_BLADES_MM):
    """Give the shop's blades as levels."""
    return tuple(BladeLevel(gap, format_blade(gap)) for gap in gaps_mm)


def facing(left, right, tip_mm, gaps_mm=CLARINET_BLADES_MM, mm_per_number=0.5):
    """Turn glass numbers, thin blade first, into readings."""
    rails = [
        tuple(
            BladeStop(gap, float(number) * mm_per_number)
            for gap, number in zip(gaps_mm, numbers, strict=True)
        )
        if numbers is not None
        else ()
        for numbers in (left, right)
    ]
    return FacingReadings(rails[0], rails[1], tip_mm)


def both_rails(left, right, tip_mm, state: State, name="", **scale):
    """Make the lines of a facing given in glass numbers."""
    readings = facing(left, right, tip_mm, **scale)
    return profile_lines(name or state, readings, analyse_facing(readings), state)


def profile_line(numbers, tip_mm, rail: Rail, state: State, name="", **scale):
    """Make the line of one rail."""
    left, right = (numbers, None) if rail == "left" else (None, numbers)
    return both_rails(left, right, tip_mm, state, name, **scale)[0]


def target_line(break_mm, tip_mm, name="target"):
    """Make the line of a target: an arc by its break and its tip opening."""
    radius_mm = (break_mm**2 + tip_mm**2) / (2 * tip_mm)
    s_mm = np.linspace(0.0, break_mm, 60)
    gap_mm = trace_curve("arc", {"break_mm": break_mm, "radius_mm": radius_mm}, s_mm)
    return ProfileLine(
        name, (), tip_mm, tuple(s_mm.tolist()), tuple(gap_mm.tolist()), None, "target"
    )


def picture(*lines, gaps_mm=CLARINET_BLADES_MM, **fields):
    """Make a picture of lines, with the shop's blades."""
    return ProfilePicture(lines=lines, blades=blade_levels(gaps_mm), **fields)


def before_and_after(**fields):
    """Give the lines of `tests/lines.py` as received and as returned, rails half a number apart."""
    return picture(
        *both_rails((33.5, 21.5, 11.5, 5.5), (33, 21.5, 11, 5.5), 1.05, "before"),
        *both_rails((35.5, 23.5, 13.5, 6.5), (35.5, 23.5, 14, 7), 1.13, "after"),
        **fields,
    )


def one_rail(**fields):
    """Only the left rail was read, before and after."""
    return picture(
        *both_rails((33.5, 21.5, 11.5, 5.5), None, 1.05, "before"),
        *both_rails((35.5, 23.5, 13.5, 6.5), None, 1.13, "after"),
        **fields,
    )


def no_tip(**fields):
    """Two rails, and no wedge at hand."""
    return picture(
        *both_rails((35.5, 23.5, 13.5, 6.5), (34.5, 22.5, 12.5, 5.5), None, "now"), **fields
    )


def alike(**fields):
    """Rails that read the same before and after, and a target."""
    return picture(
        *both_rails((33.5, 21.5, 11.5, 5.5), (33.5, 21.5, 11.5, 5.5), 1.05, "before"),
        *both_rails((35.5, 23.5, 13.5, 6.5), (35.5, 23.5, 13.5, 6.5), 1.13, "after"),
        target_line(22.4, 1.15),
        **fields,
    )


def uneven(**fields):
    """Rails one number apart at every blade."""
    return picture(
        *both_rails((33.5, 21.5, 11.5, 5.5), (32.5, 20.5, 10.5, 4.5), 1.05, "before"),
        *both_rails((35.5, 23.5, 13.5, 6.5), (34.5, 22.5, 12.5, 5.5), 1.13, "after"),
        **fields,
    )


def none_fits(**fields):
    """No curve can follow the left rail; the right is as usual."""
    return picture(
        *both_rails((37.5, 29.5, 9.5, 7.5), (35.5, 23.5, 12.5, 6.5), 1.08, "now"),
        **fields,
    )


def single_blade(**fields):
    """Hardly anything was read."""
    return picture(
        *both_rails((36,), None, None, "now", gaps_mm=(0.0381,)), gaps_mm=(0.0381,), **fields
    )


def nothing(**fields):
    """Nothing was read."""
    return picture(**fields)


def tenor(**fields):
    """Show a tenor saxophone's facing on a glass of whole millimetres."""
    scale = {"gaps_mm": SAXOPHONE_BLADES_MM, "mm_per_number": 1.0}
    before = np.array((23.0, 19.5, 17.0, 14.5, 12.0, 9.5, 5.5))
    after = np.array((25.0, 21.25, 18.5, 16.0, 13.5, 11.0, 7.0))
    return picture(
        *both_rails(before, before - 0.25, 2.3, "before", **scale),
        *both_rails(after, after - 0.5, 2.6, "after", **scale),
        gaps_mm=SAXOPHONE_BLADES_MM,
        glass_mm_per_number=1.0,
        **fields,
    )


def baritone(**fields):
    """Show the longest and most open: 30 mm and 3 mm, with a target a little beyond."""
    scale = {"gaps_mm": SAXOPHONE_BLADES_MM, "mm_per_number": 1.0}
    now = (30.0, 26.0, 23.0, 20.0, 17.0, 14.0, 10.0)
    return picture(
        *both_rails(now, now, 3.0, "now", **scale),
        target_line(34.5, 3.1),
        gaps_mm=SAXOPHONE_BLADES_MM,
        glass_mm_per_number=1.0,
        **fields,
    )


def e_flat(**fields):
    """Show the smallest: an E♭ clarinet."""
    return picture(
        *both_rails((27.5, 17.5, 9.5, 3.5), (27.5, 17.5, 9, 3.5), 0.95, "before"),
        *both_rails((28.5, 18.5, 9.5, 4.5), (28.5, 18.5, 9.5, 4), 1.03, "after"),
        **fields,
    )


def shorter_but_more_open(**fields):
    """Lines of before and after cross."""
    return picture(
        *both_rails((37.5, 23.5, 11.5, 4.5), (37, 23.5, 11.5, 4.5), 1.03, "before"),
        *both_rails((33.5, 22.5, 13.5, 7.5), (33.5, 22.5, 13, 7.5), 1.21, "after"),
        **fields,
    )


FACINGS = {
    case.__name__: case
    for case in (
        before_and_after, one_rail, no_tip, alike, uneven, none_fits, single_blade, nothing, tenor,
        baritone, e_flat, shorter_but_more_open,
    )
}  # fmt: skip
