"""Keeps the analyses made last, for a page, its pictures and the next page about the same piece.

Each is kept under everything it was worked out from, so none can grow stale. What is not kept is
worked out for all sets together, many times faster than one by one.
"""

from collections.abc import Callable, Sequence
from threading import Lock
from typing import TypeVar

from app.core.facing.analysis import (
    BladeEvenness,
    FacingAnalysis,
    analyse_many,
    judge_many_evenness,
)
from app.core.values.readings import FacingReadings, Uncertainties

Result = TypeVar("Result")
Asked = tuple[FacingReadings, Uncertainties, float]
KEPT = 512  # some twenty kilobytes each

_analyses: dict[Asked, FacingAnalysis] = {}
_evenness: dict[Asked, tuple[BladeEvenness, ...]] = {}
_lock = Lock()


def recall_analysis(
    readings: FacingReadings,
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
    *,
    evenness_tolerance_mm: float = 0.5,
) -> FacingAnalysis:
    """Give what `analyse_facing` gives, with its errors."""
    return _recall(_analyses, [(readings, uncertainties, evenness_tolerance_mm)], analyse_many)[0]


def recall_evenness(asked: Sequence[Asked]) -> list[tuple[BladeEvenness, ...]]:
    """Give how even each set's rails are: readings, uncertainties, tolerance for even rails in mm.

    Raises MalformedReading like `analyse_facing`.
    """
    return _recall(_evenness, asked, judge_many_evenness)


def _recall(
    kept: dict[Asked, Result], asked: Sequence[Asked], work: Callable[..., Sequence[Result]]
) -> list[Result]:
    asked = [_shared(*each) for each in asked]
    told = [kept.get(each) for each in asked]
    missing = list(dict.fromkeys(a for a, b in zip(asked, told, strict=True) if b is None))
    if not missing:
        return [each for each in told if each is not None]
    made: dict[Asked, Result] = {}
    for uncertainties, tolerance_mm in dict.fromkeys(each[1:] for each in missing):
        alike = [each for each in missing if each[1:] == (uncertainties, tolerance_mm)]
        readings = [each[0] for each in alike]
        found = work(readings, uncertainties, evenness_tolerance_mm=tolerance_mm)
        made.update(zip(alike, found, strict=True))
    with _lock:
        kept.update(made)
        for each in list(kept)[: max(len(kept) - KEPT, 0)]:
            del kept[each]
    return [made[a] if b is None else b for a, b in zip(asked, told, strict=True)]


def _shared(readings: FacingReadings, uncertainties: Uncertainties, tolerance_mm: float) -> Asked:
    """Ask in the same way wherever the readings bring all their own uncertainties."""
    bring_their_own = (
        all(
            stop.gap_u_mm is not None and stop.position_u_mm is not None
            for stop in (*readings.left, *readings.right)
        )
        and (readings.tip_opening_mm is None or readings.tip_u_mm is not None)
        and not (readings.dial_left or readings.dial_right)
    )
    return readings, Uncertainties() if bring_their_own else uncertainties, tolerance_mm
