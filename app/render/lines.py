"""Turns readings and what was made of them into lines to draw."""

import numpy as np

from app.core.analysis import FacingAnalysis, RailAnalysis
from app.core.profiles import free_curve, trace_curve
from app.core.readings import FacingReadings
from app.render.profile import ProfileLine, Rail, State

_POINTS = 120


def profile_lines(
    name: str, facing: FacingReadings, analysis: FacingAnalysis, state: State
) -> tuple[ProfileLine, ...]:
    """Make a line for each rail that was read: its chosen curve, or a free one."""
    rails: tuple[tuple[Rail, RailAnalysis | None], ...] = (
        ("left", analysis.left),
        ("right", analysis.right),
    )
    return tuple(
        _line(name, rail, judged, facing.tip_opening_mm, state)
        for rail, judged in rails
        if judged is not None
    )


def _line(
    name: str, rail: Rail, judged: RailAnalysis, tip: float | None, state: State
) -> ProfileLine:
    fit = judged.fit(judged.chosen)
    nearest = min(stop.position_mm for stop in judged.stops)
    if fit is None:
        free = free_curve(judged.stops, tip)
        s = np.linspace(free.start_mm, free.break_mm or free.end_mm, _POINTS) if free else None
        return ProfileLine(
            name, judged.stops, tip,
            () if free is None or s is None else tuple(map(float, s)),
            () if free is None or s is None else tuple(map(float, free.gap_at(s))),
            rail, state, free=True,
        )  # fmt: skip
    start = 0.0 if judged.tip_in_fit else nearest
    s = np.linspace(start, fit.parameters["break_mm"], _POINTS)
    pointing = np.linspace(0.0, start, 30) if start > 0 else np.array([])
    return ProfileLine(
        name,
        judged.stops,
        tip,
        tuple(map(float, s)),
        tuple(map(float, trace_curve(fit.curve, fit.parameters, s))),
        rail,
        state,
        pointing_s_mm=tuple(map(float, pointing)),
        pointing_gap_mm=tuple(map(float, trace_curve(fit.curve, fit.parameters, pointing))),
    )
