"""Judges a rail: first the blades alone, then the tip against where their curve points.

A facing in trade use often follows an arc under its blades and leaves it at the tip. With the
tip inside the fit such a facing is refused by every plain curve, and the maker learns nothing.
So the blades are judged alone, and the tip is taken in only if it agrees with them, or if the
blades leave nothing to judge by.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from math import hypot, inf

from app.core.facing.curves import CURVES, find_curve
from app.core.facing.fits import (
    CANNOT_JUDGE,
    CHOSEN,
    INSIDE,
    NONE_FITS,
    ON_CURVE,
    OUTSIDE,
    UNCLEAR,
    CurveFit,
    RailAnalysis,
    may_be,
)
from app.core.facing.fitting import TOO_FEW, UNDETERMINED, Readings, Tip, fit_curves, lay_out
from app.core.values.readings import BladeStop, Uncertainties

AGREES_WITHIN = 2.0
# Of tips on their curve 3 to 8 in 100 are said to stand off it, most with seven blades read.
OFF_BEYOND = 2.1
KEPT = 1024  # rails judged last, some ten kilobytes each


def judge_rail(
    stops: Sequence[BladeStop],
    tip: Tip | None,
    uncertainties: Uncertainties,
    *,
    way: str = "judge",
    curves: Sequence[str] | None = None,
) -> RailAnalysis:
    """Fit every curve to a rail, choose, and take the tip in where it belongs.

    `tip` is the opening and its standard uncertainty in mm, `uncertainties` hold for stops that
    bring none. `way` takes the tip "in", leaves it "out", or lets it be "judge"d; `curves` are
    keys of `CURVES`, None for all. Raises ValueError for another word or an unknown curve. The
    rails judged last are remembered, under all that their judgement rests on.
    """
    if way not in {"judge", "in", "out"}:
        raise ValueError("The tip can be judged, taken in (“in”) or left out (“out”).")
    asked = CURVES if curves is None else {find_curve(key).key for key in curves}
    if not stops:
        return RailAnalysis((), CANNOT_JUDGE, None, False, None, None, (), ())
    readings, keys = lay_out(stops, tip, uncertainties), tuple(k for k in CURVES if k in asked)
    return replace(_judge(readings, way, keys), stops=tuple(stops))


@lru_cache(KEPT)
def _judge(readings: Readings, way: str, keys: tuple[str, ...]) -> RailAnalysis:
    tip, used = readings.tip, replace(readings, tip=None)
    alone = by_curve = fit_curves(used, keys)
    chosen, judgeable = _choose(by_curve), _is_judgeable(used, keys)
    offset = _compare_tip(alone, chosen, tip)
    agrees = offset is not None and abs(offset[0]) <= AGREES_WITHIN * offset[1]
    if tip is not None and (way == "in" or (way == "judge" and (agrees or not judgeable))):
        together = fit_curves(readings, keys)
        # it was taken in because it agreed: if their own curve is refused with it, it did not
        if way == "in" or not judgeable or _choose(together) == chosen:
            used, by_curve, chosen = readings, together, _choose(together)
            judgeable = _is_judgeable(used, keys)
            offset = _compare_tip(alone, chosen, tip)
    judgement = CHOSEN if chosen else NONE_FITS if judgeable else CANNOT_JUDGE
    fits = tuple([fit for fit in by_curve.values() if isinstance(fit, CurveFit)])
    return RailAnalysis(
        stops=(),
        judgement=judgement,
        chosen=chosen,
        tip_in_fit=used.tip is not None,
        tip_offset_mm=offset[0] if offset else None,
        tip_offset_u_mm=offset[1] if offset else None,
        fits=fits,
        suspect=find_suspect(used, fits) if judgement == NONE_FITS else (),
        left_out={key: _say_why(key, why) for key, why in by_curve.items() if isinstance(why, str)},
        tip_stands=_place_tip(alone, chosen, tip),
    )


def is_fitted(stops: Sequence[BladeStop], uncertainties: Uncertainties) -> bool:
    """Whether some curve passes through these blades alone; soon said, as the first mostly does."""
    readings = lay_out(stops, None, uncertainties)
    fits = (fit_curves(readings, (key,))[key] for key in CURVES)
    return any(isinstance(fit, CurveFit) and fit.passed for fit in fits)


def _is_judgeable(readings: Readings, keys: Sequence[str]) -> bool:
    return any(readings.count > CURVES[key].free for key in keys)


def _choose(fits: Mapping[str, CurveFit | str]) -> str | None:
    """Name the simplest curve that the readings do not refuse."""
    passed = [key for key, fit in fits.items() if isinstance(fit, CurveFit) and fit.passed]
    return min(passed, key=lambda key: CURVES[key].free, default=None)


def _compare_tip(
    alone: Mapping[str, CurveFit | str], chosen: str | None, tip: Tip | None
) -> tuple[float, float] | None:
    """Compare the tip with where the chosen curve points when fitted without it: offset and u."""
    fit = alone[chosen] if chosen else None
    if not isinstance(fit, CurveFit) or tip is None:
        return None
    return tip[0] - fit.tip_opening_mm, hypot(tip[1], fit.tip_opening_u_mm)


def _place_tip(
    alone: Mapping[str, CurveFit | str], chosen: str | None, tip: Tip | None
) -> str | None:
    """Place the tip by every curve that the blades alone don't refuse."""
    own = _compare_tip(alone, chosen, tip)
    if own is None:
        return None
    if abs(own[0]) <= AGREES_WITHIN * own[1]:
        return ON_CURVE
    others = [
        offset
        for key, fit in alone.items()
        if isinstance(fit, CurveFit) and (fit.passed or may_be(fit))
        if (offset := _compare_tip(alone, key, tip))
    ]
    if all(by < -OFF_BEYOND * u for by, u in others):
        return INSIDE
    return OUTSIDE if all(by > OFF_BEYOND * u for by, u in others) else UNCLEAR


def _say_why(key: str, why: str) -> str:
    curve = CURVES[key]
    if why == TOO_FEW:
        return f"It has {curve.free} parameters: too few readings to draw it."
    return "These readings leave it undetermined." if why == UNDETERMINED else curve.unreal


def find_suspect(readings: Readings, fits: Sequence[CurveFit]) -> tuple[int, ...]:
    """Name the reading of one rail, all of whose curves are refused, to take again.

    It is the one without which a simple curve passes: with two parameters if there is any, then
    with three; among several the one whose loss makes the best fit. If no loss makes one pass, it
    is the one whose loss brings a curve of two parameters nearest: a bad reading pulls the curve
    through all to itself, and the furthest from that is often its good neighbour. Where there are
    too few to leave one out, it is the furthest from the simplest curve, or those that contradict
    most others.
    """
    stops = readings.stops
    strain: dict[int, float] = {}
    for parameters in (2, 3):
        if readings.count - 1 <= parameters:
            break
        keys = [key for key in CURVES if CURVES[key].free == parameters]
        passing: dict[int, float] = {}
        for i in range(len(stops)):
            without = fit_curves(replace(readings, stops=stops[:i] + stops[i + 1 :]), keys)
            for fit in without.values():
                if isinstance(fit, CurveFit) and fit.passed:
                    passing[i] = max(passing.get(i, 0.0), fit.p or 0.0)
                if isinstance(fit, CurveFit) and parameters == 2:
                    strain[i] = min(strain.get(i, inf), fit.chi_square)
        if passing:
            return (max(passing, key=passing.__getitem__),)
    if strain:
        return (min(strain, key=strain.__getitem__),)
    if fits:
        best = min(fits, key=lambda fit: (len(fit.parameters), fit.chi_square))
        return (max(range(len(stops)), key=lambda i: abs(best.residuals[i]) / best.residual_u[i]),)
    against = [sum((a[0] - b[0]) * (a[1] - b[1]) > 0.0 for b in stops) for a in stops]
    return tuple([i for i, count in enumerate(against) if count == max(against) > 0])
