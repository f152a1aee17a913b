"""Judges a facing: the rails first, then the tip, then the two rails against each other."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import overload

import numpy as np

from app.core.facing.dials import dial_stops_of, settle_dials
from app.core.facing.evenness import BladeEvenness, BladePair, judge_evenness, pair_blades
from app.core.facing.profiles import free_curve
from app.core.facing.rails import (
    CurveFit,
    JudgedRails,
    RailAnalysis,
    arrange_readings,
    judge_arrays,
    order_curves,
)
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties

__all__ = [
    "BladeEvenness",
    "CurveFit",
    "FacingAnalysis",
    "MalformedReading",
    "ManyAnalyses",
    "RailAnalysis",
    "analyse_facing",
    "analyse_many",
    "check_readings",
    "judge_many_evenness",
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
FINEST_WORDS = "0.00001"
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
        for i, one in enumerate(dials):
            field, where = f"dial_{rail}.{i}", f"(dial, {rail} rail, reading {i + 1})"
            _check_length(one.position_mm, f"{field}.position_mm", f"The position {where}", 0.0)
            _check_length(one.gap_mm, f"{field}.gap_mm", f"The gap {where}", -LONGEST_MM)
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
    more = "zero or more" if least == 0.0 else f"more than zero, at least {FINEST_WORDS}"
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
    for all. A rail without readings is None, and so is the mean without a blade felt, or a dial
    read, on both. `stops` of a rail are its blades, then the dial readings that were taken into
    its fit (see `dials`).
    Raises MalformedReading for impossible numbers, ValueError for unknown words.
    """
    return analyse_many(
        (readings,), uncertainties,
        tip=tip, curves=curves, evenness_tolerance_mm=evenness_tolerance_mm,
    )[0]  # fmt: skip


def analyse_many(
    sets: Sequence[FacingReadings],
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
    *,
    tip: str = "judge",
    curves: Sequence[str] | None = None,
    evenness_tolerance_mm: float = 0.5,
) -> "ManyAnalyses":
    """Analyse many sets of readings at once, many times faster than one by one.

    All fits are done at once; each `FacingAnalysis` is built when it is asked for. Arguments and
    errors as for `analyse_facing`.
    """
    keys = order_curves(curves)
    chunks = []
    for start in range(0, len(sets), SETS_AT_ONCE):
        told = [_tell_rails(each, uncertainties) for each in sets[start : start + SETS_AT_ONCE]]
        rails = [stops for each in told for stops in each.rails.values()]
        tips = [each.tip for each in told for _ in each.rails]
        judged = None
        if rails:
            has_tip = np.array([opening is not None for opening in tips])
            arrays = arrange_readings(rails, tips, uncertainties)
            judged = judge_arrays(arrays, has_tip, tip=tip, curves=keys)
        chunks.append((told, np.cumsum([0, *(len(each.rails) for each in told)]), judged))
    return ManyAnalyses(chunks, len(sets), evenness_tolerance_mm)


def judge_many_evenness(
    sets: Sequence[FacingReadings],
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
    *,
    evenness_tolerance_mm: float = 0.5,
) -> list[tuple[BladeEvenness, ...]]:
    """Give the `evenness` of each set's analysis alone: a third of the fits, for lists.

    Errors as for `analyse_facing`.
    """
    told = [_tell_rails(each, uncertainties) for each in sets]
    means = [each.rails.get(("mean", False), ()) for each in told]
    rows = [at for at, stops in enumerate(means) if stops]
    judged = None
    if rows:
        tips = [told[at].tip for at in rows]
        arrays = arrange_readings([means[at] for at in rows], tips, uncertainties)
        has_tip = np.array([tip is not None for tip in tips])
        judged = judge_arrays(arrays, has_tip, curves=order_curves(None))
    found = []
    for at, (readings, each) in enumerate(zip(sets, told, strict=True)):
        slopes: list[float | None] = []
        if judged is not None and means[at]:
            if ("mean", True) in each.rails:  # a dial was read: whether it counts is judged whole
                whole = analyse_facing(
                    readings, uncertainties, evenness_tolerance_mm=evenness_tolerance_mm
                )
                found.append(whole.evenness)
                continue
            steep = judged.slopes(rows.index(at), len(means[at]))
            slopes = list(steep) if steep else _free_slopes(means[at], each.tip)
        found.append(judge_evenness(each.pairs, slopes[: len(each.pairs)], evenness_tolerance_mm))
    return found


SETS_AT_ONCE = 400  # few enough that the arrays of one step stay in the processor's cache


@dataclass(frozen=True, slots=True)
class _Told:
    """One set of readings, ready to be laid out: its rails, its pairs, its tip.

    Rails are told by name and by whether the dial is in: where one was read, both ways.
    """

    rails: dict[tuple[str, bool], tuple[BladeStop, ...]]
    pairs: tuple[BladePair, ...]
    tip: tuple[float, float] | None


def _tell_rails(readings: FacingReadings, uncertainties: Uncertainties) -> _Told:
    check_readings(readings, uncertainties)
    pairs = pair_blades(
        readings.left, readings.right, uncertainties.position_mm, uncertainties.gap_mm
    )
    blades = {
        "left": readings.left,
        "right": readings.right,
        "mean": tuple(pair.mean_stop() for pair in pairs),
    }
    dials = dial_stops_of(readings, uncertainties)
    rails = {(name, False): stops for name, stops in blades.items()}
    rails |= {(name, True): (*blades[name], *stops) for name, stops in dials.items() if stops}
    tip = None
    if readings.tip_opening_mm is not None:
        tip = (readings.tip_opening_mm, readings.tip_u_mm or uncertainties.tip_mm)
    return _Told({key: stops for key, stops in rails.items() if stops}, pairs, tip)


class ManyAnalyses(Sequence[FacingAnalysis]):
    """The analyses of many sets, in their order, each built when it is asked for."""

    def __init__(
        self,
        chunks: list[tuple[list[_Told], np.ndarray, JudgedRails | None]],
        count: int,
        evenness_tolerance_mm: float,
    ) -> None:
        self._chunks, self._count = chunks, count
        self._tolerance_mm = evenness_tolerance_mm

    def __len__(self) -> int:
        """Count the sets."""
        return self._count

    @overload
    def __getitem__(self, index: int) -> FacingAnalysis: ...
    @overload
    def __getitem__(self, index: slice) -> list[FacingAnalysis]: ...
    def __getitem__(self, index: int | slice) -> FacingAnalysis | list[FacingAnalysis]:
        """Build the analysis of one set, or of several."""
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(self._count))]
        if not -self._count <= index < self._count:
            raise IndexError(index)
        chunk, at = divmod(index % self._count, SETS_AT_ONCE)
        told, firsts, judged = self._chunks[chunk]
        each = told[at]
        found = {}
        if judged is not None:
            for row, (key, stops) in enumerate(each.rails.items(), int(firsts[at])):
                found[key] = judged.rail(row, stops)
        left, right, mean = (
            settle_dials(found.get((name, False)), found.get((name, True)))
            for name in ("left", "right", "mean")
        )
        slopes = _slopes(mean, each.tip) if mean else []
        # the mean's stops are the pairs, and after them any dial readings
        evenness = judge_evenness(each.pairs, slopes[: len(each.pairs)], self._tolerance_mm)
        return FacingAnalysis(left, right, mean, evenness)


def _slopes(mean: RailAnalysis, tip: tuple[float, float] | None) -> list[float | None]:
    """Say how steeply the gap opens at each blade: on the chosen curve, or the nearest to one."""
    fit = mean.chosen_fit or min(mean.fits, key=lambda each: each.chi_square, default=None)
    if fit is not None:
        return [1.0 / reach for reach in fit.reach_per_gap]
    return _free_slopes(mean.stops, tip)


def _free_slopes(stops: Sequence[BladeStop], tip: tuple[float, float] | None) -> list[float | None]:
    free = free_curve(stops, tip[0] if tip else None)
    return [free.slope_at_gap(stop.gap_mm) if free else None for stop in stops]
