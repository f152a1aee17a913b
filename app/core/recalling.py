"""Keeps the analyses made last, for a page, its pictures and the next page about the same piece.

Each is kept under everything it was worked out from, so none can grow stale. What is not kept is
worked out for all sets together, many times faster than one by one.
"""

from collections.abc import Sequence
from threading import Lock

from app.core.analysis import FacingAnalysis, analyse_many
from app.core.readings import FacingReadings, Uncertainties

Asked = tuple[FacingReadings, Uncertainties, float]
KEPT = 512  # some twenty kilobytes each

_kept: dict[Asked, FacingAnalysis] = {}
_lock = Lock()


def recall_analysis(
    readings: FacingReadings,
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
    *,
    evenness_tolerance_mm: float = 0.5,
) -> FacingAnalysis:
    """Give what `analyse_facing` gives, with its errors."""
    return recall_analyses([(readings, uncertainties, evenness_tolerance_mm)])[0]


def recall_analyses(asked: Sequence[Asked]) -> list[FacingAnalysis]:
    """Give the analysis of each set: readings, uncertainties, tolerance for even rails in mm.

    Raises MalformedReading like `analyse_facing`.
    """
    asked = [_shared(*each) for each in asked]
    told = [_kept.get(each) for each in asked]
    missing = list(dict.fromkeys(a for a, b in zip(asked, told, strict=True) if b is None))
    if not missing:
        return [each for each in told if each is not None]
    made: dict[Asked, FacingAnalysis] = {}
    for uncertainties, tolerance_mm in dict.fromkeys(each[1:] for each in missing):
        alike = [each for each in missing if each[1:] == (uncertainties, tolerance_mm)]
        found = analyse_many(
            [each[0] for each in alike], uncertainties, evenness_tolerance_mm=tolerance_mm
        )
        made.update(zip(alike, found, strict=True))
    with _lock:
        _kept.update(made)
        for each in list(_kept)[: max(len(_kept) - KEPT, 0)]:
            del _kept[each]
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
