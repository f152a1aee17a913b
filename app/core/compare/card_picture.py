"""The player's picture as points: the facing before and after, and what came off between them.

Both lines run through the readings themselves, the mean of the rails where both were felt; no
curve is claimed. What came off stands in hundredths of a millimetre of gap.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.core.facing.profiles import FreeCurve, free_curve
from app.core.values.readings import BladeStop, FacingReadings
from app.core.values.units import format_mm, format_number

Points = tuple[tuple[float, float], ...]
POINTS = 48
TAKEN_OFF = "taken off, in hundredths of a millimetre"
CHANGED_GAP = "how the gap changed, in hundredths of a millimetre; below the line it is closer"
_CLOSER = -1.0  # hundredths: less is the drawing of a line through readings, not a closer gap
_ROOM = 1.06


@dataclass(frozen=True, slots=True)
class CardPicture:
    """Lines as points of mm from the tip and mm of gap; `taken` in hundredths of a millimetre.

    `numbers` are places and the figures written there. A line that was not read is empty.
    """

    alt: str
    end_mm: float
    high_mm: float
    before: Points
    after: Points
    before_name: str
    after_name: str
    taken: Points = ()
    taken_name: str = ""
    numbers: tuple[tuple[float, str], ...] = ()


def build_picture(
    before: FacingReadings | None, after: FacingReadings | None, *, changed: bool
) -> CardPicture | None:
    """Draw what was read; None without a line. What came off is drawn only if it `changed`."""
    curves = [_curve_of(facing) for facing in (before, after)]
    if not any(curves):
        return None
    taken = _taken(*curves) if changed else ()
    numbers = _numbers_along(taken)
    lines = [_trace(curve) for curve in curves]
    names = ("before", "after") if all(curves) else ("as it came", "as it is now")
    closer = min((value for _, value in taken), default=0.0) < _CLOSER
    taken_name = (CHANGED_GAP if closer else TAKEN_OFF) if taken else ""
    points = [point for line in lines for point in line]
    return CardPicture(
        alt=_say_picture(names, (before, after), curves, taken_name, numbers),
        end_mm=round(max(s for s, _ in points) * _ROOM, 2),
        high_mm=round(max(gap for _, gap in points) * _ROOM, 3),
        before=lines[0],
        after=lines[1],
        before_name=names[0],
        after_name=names[1],
        taken=taken,
        taken_name=taken_name,
        numbers=numbers,
    )


def _curve_of(facing: FacingReadings | None) -> FreeCurve | None:
    return free_curve(mean_stops(facing), facing.tip_opening_mm) if facing else None


def mean_stops(facing: FacingReadings) -> tuple[BladeStop, ...]:
    """Where each blade stopped, the mean of both rails; else of the rail that was felt."""
    left, right = (
        {stop.gap_mm: stop.position_mm for stop in rail} for rail in (facing.left, facing.right)
    )
    shared = sorted(set(left) & set(right))
    if len(shared) > 1:
        return tuple(BladeStop(gap, (left[gap] + right[gap]) / 2) for gap in shared)
    return facing.left if len(facing.left) >= len(facing.right) else facing.right


def _trace(curve: FreeCurve | None) -> Points:
    if curve is None:
        return ()
    s_mm = np.linspace(curve.start_mm, _end_of(curve), POINTS)
    return _rows(s_mm, curve.gap_at(s_mm), 4)


def _end_of(curve: FreeCurve) -> float:
    return curve.end_mm if curve.break_mm is None else curve.break_mm


def _rows(s_mm: np.ndarray, values: np.ndarray, places: int) -> Points:
    known = np.isfinite(values)
    return tuple(
        (round(s, 2), round(value, places) + 0.0)
        for s, value in zip(s_mm[known].tolist(), values[known].tolist(), strict=True)
    )


def _taken(before: FreeCurve | None, after: FreeCurve | None) -> Points:
    if before is None or after is None:
        return ()
    start = max(before.start_mm, after.start_mm)
    # without a place where a line meets the table nothing is known beyond its last reading
    ends = [_end_of(before), _end_of(after)]
    open_ended = before.break_mm is None or after.break_mm is None
    s_mm = np.linspace(start, min(ends) if open_ended else max(ends), POINTS)
    return _rows(s_mm, 100.0 * (after.gap_at(s_mm) - before.gap_at(s_mm)), 2)


def _numbers_along(taken: Points) -> tuple[tuple[float, str], ...]:
    """Write the figure at the tip end and every few millimetres, where it is not nought."""
    if not taken:
        return ()
    s_mm, values = np.array(taken).T
    step = next(mm for mm in (2, 3, 4, 5, 10) if s_mm[-1] / mm <= 7)
    places = [float(s_mm[0]), *np.arange(np.ceil(s_mm[0] / step + 0.4) * step, s_mm[-1], step)]
    figures = ((s, round(float(np.interp(s, s_mm, values)))) for s in places)
    return tuple((round(float(s), 2), format_number(figure, 0)) for s, figure in figures if figure)


def _say_picture(
    names: tuple[str, str],
    facings: Sequence[FacingReadings | None],
    curves: Sequence[FreeCurve | None],
    taken_name: str,
    numbers: Sequence[tuple[float, str]],
) -> str:
    parts = []
    for name, facing, curve in zip(names, facings, curves, strict=True):
        if facing is None or curve is None:
            continue
        tip = facing.tip_opening_mm
        opens = "" if tip is None else f" from {format_mm(tip)} mm at the tip"
        parts.append(f"{name},{opens} down to the last reading at {format_mm(curve.end_mm, 1)} mm")
    words = f"The facing from the side, the tip at the left: {'; '.join(parts)}."
    if numbers:
        figures = ", ".join(f"{figure} at {format_number(s, 1)} mm" for s, figure in numbers)
        words += f" {taken_name[0].upper()}{taken_name[1:]}: {figures} from the tip."
    return words
