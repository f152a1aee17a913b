"""Judges a facing: the rails first, then the tip, then the two rails against each other."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isfinite

from app.core.curves import CURVES
from app.core.evenness import BladeEvenness, judge_evenness, pair_blades
from app.core.profiles import free_curve
from app.core.rails import CurveFit, RailAnalysis, judge_rails
from app.core.readings import BladeStop, FacingReadings, Uncertainties

__all__ = [
    "BladeEvenness",
    "CurveFit",
    "FacingAnalysis",
    "MalformedReading",
    "RailAnalysis",
    "analyse_facing",
    "check_readings",
]


@dataclass(frozen=True, slots=True)
class FacingAnalysis:
    """Both rails, their mean, and how even they are."""

    left: RailAnalysis | None
    right: RailAnalysis | None
    mean: RailAnalysis | None
    evenness: tuple[BladeEvenness, ...]


class MalformedReading(ValueError):  # noqa: N818 - it is the reading that is at fault
    """A number no gauge can give; `field` tells which, such as `left.2.gap_mm`."""

    def __init__(self, field: str, words: str) -> None:
        super().__init__(words)
        self.field = field


LONGEST_MM = 1000.0  # no mouthpiece is a metre long
FINEST_MM = 1e-5  # and no gauge tells a hundredth of a micrometre


def check_readings(readings: FacingReadings, uncertainties: Uncertainties) -> None:
    """Raise MalformedReading, in words, for a number that cannot be a reading."""
    for name, words in (
        ("position_mm", "of a position"),
        ("gap_mm", "of a blade"),
        ("tip_mm", "of the tip opening"),
    ):
        _check_length(getattr(uncertainties, name), name, f"The uncertainty {words}")
    for rail in ("left", "right"):
        for i, stop in enumerate(getattr(readings, rail)):
            where = f"({rail} rail, reading {i + 1})"
            _check_length(stop.gap_mm, f"{rail}.{i}.gap_mm", f"The blade {where}")
            _check_length(stop.position_mm, f"{rail}.{i}.position_mm", f"The position {where}", 0.0)
            for name in ("gap_u_mm", "position_u_mm"):
                value = getattr(stop, name)
                _check_length(value, f"{rail}.{i}.{name}", f"The uncertainty {where}")
    _check_length(readings.tip_opening_mm, "tip_opening_mm", "The tip opening")
    _check_length(readings.tip_u_mm, "tip_u_mm", "The uncertainty of the tip opening")


def _check_length(value: float | None, field: str, what: str, least: float = FINEST_MM) -> None:
    if value is None or least <= value <= LONGEST_MM:
        return
    if not isfinite(value):
        raise MalformedReading(field, f"{what} must be a number.")
    if value > LONGEST_MM:
        raise MalformedReading(field, f"{what} is more than a metre; check the unit.")
    more = "zero or more" if least == 0.0 else "more than zero"
    raise MalformedReading(field, f"{what} must be {more}, in mm.")


def analyse_facing(
    readings: FacingReadings,
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
    *,
    tip: str = "judge",
    curves: Sequence[str] | None = None,
    evenness_tolerance_mm: float = 0.5,
) -> FacingAnalysis:
    """Fit, choose and compare everything one set of readings allows.

    `tip` is "judge" (rails first, then the tip), "in" or "out"; `curves` keys of `CURVES`, None
    for all. A rail without readings is None, and so is the mean without a blade felt on both.
    Raises MalformedReading for impossible numbers, ValueError for unknown words.
    """
    check_readings(readings, uncertainties)
    pairs = pair_blades(
        readings.left, readings.right, uncertainties.position_mm, uncertainties.gap_mm
    )
    rails = {
        "left": readings.left,
        "right": readings.right,
        "mean": tuple(pair.mean_stop() for pair in pairs),
    }
    told = {name: stops for name, stops in rails.items() if stops}
    opening = None
    if readings.tip_opening_mm is not None:
        opening = (readings.tip_opening_mm, readings.tip_u_mm or uncertainties.tip_mm)
    judged = judge_rails(
        list(told.values()), [opening] * len(told), uncertainties, tip=tip, curves=curves
    )
    by_name = dict(zip(told, judged, strict=True))
    evenness = judge_evenness(
        pairs,
        _slope(by_name.get("mean"), rails["mean"], readings.tip_opening_mm),
        evenness_tolerance_mm,
    )
    return FacingAnalysis(by_name.get("left"), by_name.get("right"), by_name.get("mean"), evenness)


def _slope(
    mean: RailAnalysis | None, stops: Sequence[BladeStop], tip_opening_mm: float | None
) -> Callable[[float], float | None]:
    """Find how steeply the gap opens at a blade: on the chosen curve, or freely drawn."""
    fit = mean.fit(mean.chosen) if mean else None
    if fit is not None:
        curve = CURVES[fit.curve]
        return lambda gap: curve.slope_at_gap(fit.parameters, gap)
    free = free_curve(stops, tip_opening_mm)
    return (lambda _: None) if free is None else free.slope_at_gap
