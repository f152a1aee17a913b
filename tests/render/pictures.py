"""One list of every picture the program draws, in usual and in unusual cases."""

from datetime import date

import numpy as np

from app.core.facing.analysis import analyse_facing
from app.render.difference import (
    DifferencePicture,
    compose_difference,
    difference_lines,
    draw_difference,
)
from app.render.history import HistoryPicture, HistoryPoint, compose_history, draw_history
from app.render.lines import overlaid_lines
from app.render.profile import (
    compose_profile,
    compose_straight_line,
    draw_profile,
    draw_straight_line,
)
from app.render.residuals import (
    ResidualPicture,
    compose_residuals,
    draw_residuals,
    residuals_of,
)
from app.render.run_chart import RunChart, RunPoint, compose_run_chart, draw_run_chart
from tests.render import cases


def differences(after=True, **fields):
    """Compare after with before, or before with a target."""
    lines = cases.before_and_after().lines
    if after:
        found, against = difference_lines(lines[2:], lines[:2], u_um=6.0), "before"
    else:
        found, against = difference_lines(lines[:2], [cases.target_line(22.4, 1.15)]), "target"
    return DifferencePicture(found, against, **fields)


def residuals(left=(35.5, 23.5, 13.5, 6.5), right=(35.5, 23.5, 14, 7), **fields):
    """Hold a clarinet's readings to the curves chosen for them."""
    analysis = analyse_facing(cases.facing(left, right, 1.10))
    curves = ("Left: circular arc. Right: circular arc.",)
    return ResidualPicture(residuals_of(analysis), cases.blade_levels(), curves, **fields)


def visits(count):
    """Make a piece that came back year after year, received and returned."""
    return tuple(
        HistoryPoint(
            date(2012 + at // 2, 3 + 2 * (at % 2), 1 + 3 * at % 20),
            ("as received", "as returned")[at % 2],
            1.0 + 0.02 * (at % 5),
            17 + 0.25 * (at % 4),
        )
        for at in range(count)
    )


def checks(count, **fields):
    """Make a blade checked time and again, worn at one check."""
    values = 0.254 + 0.0006 * np.sin(np.arange(count) * 2.1)
    values[count * 2 // 3 : count * 2 // 3 + 1] -= 0.003
    points = tuple(
        RunPoint(f"{2019 + at // 12}-{1 + at % 12:02}-03", float(value))
        for at, value in enumerate(values)
    )
    return RunChart(
        points, "blade 0.010 in, mm by micrometer", 4, 0.2540, 0.2522, 0.2558, 0.2540, **fields
    )


def overlays(count, **fields):
    """Draw reading sets of one piece over the years."""
    sets = []
    for at in range(count):
        left = np.array((33.5, 21.5, 11.5, 5.5)) + 0.5 * at
        readings = cases.facing(left, left - 0.5 * (at % 2), 1.05 + 0.02 * at)
        sets.append((f"{2016 + at}-04-12", readings, analyse_facing(readings)))
    return cases.picture(*overlaid_lines(sets), **fields)


# name: how the picture is made, composed on a sheet, and drawn
PICTURES = {
    "profile": (cases.before_and_after, compose_profile, draw_profile),
    "straight line": (cases.before_and_after, compose_straight_line, draw_straight_line),
    "straight line, tenor": (cases.tenor, compose_straight_line, draw_straight_line),
    "straight line, none": (cases.nothing, compose_straight_line, draw_straight_line),
    "overlay of 2": (lambda **f: overlays(2, **f), compose_profile, draw_profile),
    "overlay of 6": (lambda **f: overlays(6, **f), compose_profile, draw_profile),
    "difference": (differences, compose_difference, draw_difference),
    "difference from target": (
        lambda **f: differences(after=False, **f),
        compose_difference,
        draw_difference,
    ),
    "no difference": (
        lambda **f: DifferencePicture((), "before", **f),
        compose_difference,
        draw_difference,
    ),
    "residuals": (residuals, compose_residuals, draw_residuals),
    "residuals, none fits": (
        lambda **f: residuals((35.5, 29.5, 11.5, 5.5), **f),
        compose_residuals,
        draw_residuals,
    ),
    "residuals, one rail": (
        lambda **f: residuals(right=None, **f),
        compose_residuals,
        draw_residuals,
    ),
    "no residuals": (
        lambda **f: ResidualPicture((), (), **f),
        compose_residuals,
        draw_residuals,
    ),
    **{
        f"history of {count}": (
            lambda count=count, **f: HistoryPicture(visits(count), **f),
            compose_history,
            draw_history,
        )
        for count in (0, 1, 2, 5, 9, 24)
    },
    **{
        f"run chart of {count}": (
            lambda count=count, **f: checks(count, **f),
            compose_run_chart,
            draw_run_chart,
        )
        for count in (1, 2, 12, 60)
    },
    "empty run chart": (
        lambda **f: RunChart((), "blade", **f),
        compose_run_chart,
        draw_run_chart,
    ),
}
