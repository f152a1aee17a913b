"""Judges a facing: the rails first, then the tip, then the two rails against each other."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from app.core.facing.dials import dial_stops_of, settle_dials
from app.core.facing.evenness import BladeEvenness, BladePair, judge_evenness, pair_blades
from app.core.facing.fits import RailAnalysis
from app.core.facing.profiles import free_curve
from app.core.facing.rails import is_fitted, judge_rail
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties


@dataclass(frozen=True, slots=True)
class FacingAnalysis:
    """Both rails, their mean, and how even they are; nothing of that where they were read once.

    `confirmed` are the stops that were read again.
    """

    left: RailAnalysis | None
    right: RailAnalysis | None
    mean: RailAnalysis | None
    evenness: tuple[BladeEvenness, ...]
    read_once: bool = False
    confirmed: frozenset[tuple[str, int]] = frozenset()


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
        ("dial_gap_mm", "of a dial"),
        ("dial_position_mm", "of a dial’s position"),
    ):
        _check_length(getattr(uncertainties, name), name, f"The uncertainty {words}")
    for rail, stops in (("left", readings.left), ("right", readings.right)):
        for i, stop in enumerate(stops):
            _check_stop(stop, rail, i)
    for rail, dials in (("left", readings.dial_left), ("right", readings.dial_right)):
        for i, dial in enumerate(dials):
            field, where = f"dial_{rail}.{i}", f"(dial, {rail} rail, reading {i + 1})"
            _check_length(dial.position_mm, f"{field}.position_mm", f"The position {where}", 0.0)
            _check_length(dial.gap_mm, f"{field}.gap_mm", f"The gap {where}", -LONGEST_MM)
    _check_length(readings.tip_opening_mm, "tip_opening_mm", "The tip opening")
    _check_length(readings.tip_u_mm, "tip_u_mm", "The uncertainty of the tip opening")


def _check_stop(stop: BladeStop, rail: str, i: int) -> None:
    if (
        FINEST_MM <= stop.gap_mm <= LONGEST_MM
        and 0.0 <= stop.position_mm <= LONGEST_MM
        and stop.gap_u_mm is stop.position_u_mm is None
    ):
        return
    field, where = f"{rail}.{i}", f"({rail} rail, reading {i + 1})"
    _check_length(stop.gap_mm, f"{field}.gap_mm", f"The blade {where}")
    _check_length(stop.position_mm, f"{field}.position_mm", f"The position {where}", 0.0)
    _check_length(stop.gap_u_mm, f"{field}.gap_u_mm", f"The uncertainty {where}")
    _check_length(stop.position_u_mm, f"{field}.position_u_mm", f"The uncertainty {where}")


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
    only_mean: bool = False,
) -> FacingAnalysis:
    """Fit, choose and compare everything one set of readings allows.

    `tip` is "judge" (rails first, then the tip), "in" or "out"; `curves` keys of `CURVES`, None
    for all. A rail without readings is None, and so is the mean without a blade felt, or a dial
    read, on both. `stops` of a rail are its blades, then the dial readings that were taken into
    its fit (see `dials`). `only_mean` leaves out each rail by itself.
    Raises MalformedReading for impossible numbers, ValueError for unknown words.
    """
    check_readings(readings, uncertainties)
    pairs = _pair(readings, uncertainties)
    blades = _list_rails(readings, pairs)
    opening = None
    if readings.tip_opening_mm is not None:
        opening = (readings.tip_opening_mm, readings.tip_u_mm or uncertainties.tip_mm)

    def judge(stops: Sequence[BladeStop]) -> RailAnalysis | None:
        if not stops:
            return None
        return judge_rail(stops, opening, uncertainties, way=tip, curves=curves)

    dials = dial_stops_of(readings, uncertainties)
    left, right, mean = (
        settle_dials(judge(stops), judge((*stops, *dials[name])) if dials[name] else None)
        if name == "mean" or not only_mean
        else None
        for name, stops in blades.items()
    )
    slopes = _slopes(mean, opening) if mean else []
    # the mean's stops are the pairs, and after them any dial readings
    evenness = judge_evenness(pairs, evenness_tolerance_mm, slopes[: len(pairs)])
    once = readings.read_once
    rows = () if once else evenness
    return FacingAnalysis(left, right, mean, rows, once, readings.confirmed)


def _pair(readings: FacingReadings, uncertainties: Uncertainties) -> tuple[BladePair, ...]:
    return pair_blades(
        readings.left, readings.right, uncertainties.position_mm, uncertainties.gap_mm
    )


def _list_rails(
    readings: FacingReadings, pairs: Sequence[BladePair]
) -> dict[str, tuple[BladeStop, ...]]:
    mean = tuple(pair.mean_stop() for pair in pairs)
    return {"left": readings.left, "right": readings.right, "mean": mean}


def are_fitted(readings: FacingReadings, uncertainties: Uncertainties) -> bool:
    """Whether some curve passes through each rail, and the mean: nothing is then to take again.

    Where a dial was read the whole analysis must say it. Raises MalformedReading.
    """
    check_readings(readings, uncertainties)
    rails = _list_rails(readings, _pair(readings, uncertainties)).values()
    dials = readings.dial_left or readings.dial_right
    return not dials and all(is_fitted(stops, uncertainties) for stops in rails if stops)


def _slopes(mean: RailAnalysis, tip: tuple[float, float] | None) -> list[float | None]:
    """Say how steeply the gap opens at each blade: on the chosen curve, or the nearest to one."""
    fit = mean.chosen_fit or min(mean.fits, key=lambda each: each.chi_square, default=None)
    if fit is not None:
        return [1.0 / reach for reach in fit.reach_per_gap]
    free = free_curve(mean.stops, tip[0] if tip else None)
    return [free.slope_at_gap(stop.gap_mm) if free else None for stop in mean.stops]
