"""From what core says of a facing to the lines a picture draws."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

import numpy as np

from app.core.facing.analysis import FacingAnalysis
from app.core.facing.fits import CurveFit, RailAnalysis
from app.core.facing.profiles import free_curve, trace_curve
from app.core.values.readings import BladeStop, FacingReadings
from app.render.looks import ProfileLine, Rail, State

_POINTS = 60  # per curve: finer than a pen on a card
_NEAR_TIP_POINTS = 16
_BOTH_RAILS: tuple[Rail, ...] = ("left", "right")

Row = tuple[float, ...]


def profile_lines(
    name: str,
    facing: FacingReadings,
    analysis: FacingAnalysis,
    state: State,
    *,
    rails: Sequence[Rail] = _BOTH_RAILS,
    age: float = 0.0,
) -> tuple[ProfileLine, ...]:
    """Make the lines of one reading set, one per rail that was read.

    The chosen curve is drawn where the blades bear it out. If the tip is in the fit it runs on
    to the tip; if not, the line goes straight to the measured tip, and where the curve points
    is kept apart. Without a chosen curve the free curve through the readings is drawn.
    """
    judged: dict[Rail, RailAnalysis | None] = {
        "left": analysis.left,
        "right": analysis.right,
        "mean": analysis.mean,
    }
    tip_mm = facing.tip_opening_mm
    return tuple(
        _line(judgement, tip_mm, rail, state, name, age)
        for rail in rails
        if (judgement := judged[rail]) is not None and judgement.stops
    )


def overlaid_lines(
    sets: Sequence[tuple[str, FacingReadings, FacingAnalysis]], rail: Rail = "mean"
) -> tuple[ProfileLine, ...]:
    """Make one line for each of several reading sets, oldest first, each under its own name.

    The last is the newest and drawn in ink, the others lighter the older they are. A mean is
    not named as a rail; a set in which it can't be had (only one rail was read) shows the rail
    it has, by its name.
    """
    lines: list[ProfileLine] = []
    for place, (name, facing, analysis) in enumerate(sets):
        newest = place == len(sets) - 1
        age = 1.0 - place / max(1, len(sets) - 2) if len(sets) > 2 else 0.0
        state: State = "now" if newest else "earlier"
        for choice in (rail, "left", "right"):
            lines_of_rail = profile_lines(name, facing, analysis, state, rails=(choice,), age=age)
            if lines_of_rail:
                lines += [
                    replace(line, rail=None) if choice == "mean" else line for line in lines_of_rail
                ]
                break
    return tuple(lines)


def _line(
    judgement: RailAnalysis, tip_mm: float | None, rail: Rail, state: State, name: str, age: float
) -> ProfileLine:
    fit = judgement.fit(judgement.chosen)
    if fit is None:
        curve = _free(judgement.stops, tip_mm)
        pointing: tuple[Row, Row] = ((), ())
    else:
        curve, pointing = _fitted(fit, judgement, tip_mm)
    return ProfileLine(
        name=name,
        stops=judgement.stops,
        tip_opening_mm=tip_mm,
        curve_s_mm=curve[0],
        curve_gap_mm=curve[1],
        rail=rail,
        state=state,
        pointing_s_mm=pointing[0],
        pointing_gap_mm=pointing[1],
        free=fit is None and len(curve[0]) > 1,
        age=age,
    )


def _free(stops: Sequence[BladeStop], tip_mm: float | None) -> tuple[Row, Row]:
    curve = free_curve(stops, tip_mm)
    if curve is None:
        return (), ()
    end = curve.end_mm if curve.break_mm is None else curve.break_mm
    s_mm = np.linspace(curve.start_mm, end, _POINTS)
    return _rows(s_mm, curve.gap_at(s_mm))


def _fitted(
    fit: CurveFit, judgement: RailAnalysis, tip_mm: float | None
) -> tuple[tuple[Row, Row], tuple[Row, Row]]:
    """Trace a chosen curve: first the line itself, then where it points beyond the blades."""
    positions = np.array([stop.position_mm for stop in judgement.stops])
    last = float(positions.min())
    start = 0.0 if judgement.tip_in_fit else last
    # Beyond the last blade some curves end before the tip; then nothing is pointed at.
    s_mm = np.linspace(start, max(fit.parameters["break_mm"], start + 1e-3), _POINTS)
    gap_mm = trace_curve(fit.curve, fit.parameters, s_mm)
    if judgement.tip_in_fit or last <= 0.0:
        return _rows(s_mm, gap_mm), ((), ())
    near = np.linspace(0.0, last, _NEAR_TIP_POINTS)
    pointing: tuple[Row, Row] = ((), ())
    with suppress(ValueError):
        pointing = _rows(near, trace_curve(fit.curve, fit.parameters, near))
    if tip_mm is not None:
        # Nothing was read between the last blade and the tip: straight in √h claims the least.
        roots = np.interp(near, [0.0, last], np.sqrt([tip_mm, gap_mm[0]]))
        s_mm = np.concatenate([near[:-1], s_mm])
        gap_mm = np.concatenate([roots[:-1] ** 2, gap_mm])
    return _rows(s_mm, gap_mm), pointing


def _rows(s_mm: np.ndarray, gap_mm: np.ndarray) -> tuple[Row, Row]:
    finite = np.isfinite(gap_mm)
    return tuple(s_mm[finite].tolist()), tuple(gap_mm[finite].tolist())
