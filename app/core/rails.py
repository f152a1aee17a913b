"""Judges one rail: first the blades alone, then the tip against where their curve points.

A facing in trade use often follows an arc under its blades and leaves it at the tip. With the
tip inside the fit such a facing is refused by every plain curve, and the maker learns nothing.
So the blades are judged alone, and the tip is taken in only if it agrees with them, or if the
blades leave nothing to judge by.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from app.core.curves import CURVES
from app.core.fitting import (
    FITTED,
    TOO_FEW,
    UNDETERMINED,
    UNREAL,
    CurveFits,
    ReadingArrays,
    fit_curves,
)
from app.core.readings import BladeStop, Uncertainties

REFUSED_BELOW = 0.05
AGREES_WITHIN = 2.0
K_95 = 1.959963984540054
CHOSEN, NONE_FITS, CANNOT_JUDGE = "chosen", "none fits", "cannot be judged"


@dataclass(frozen=True, slots=True)
class CurveFit:
    """One curve fitted to one rail. Lengths in mm, uncertainties standard (k = 1).

    `residuals` are read minus fitted, one per blade in the order given (mm along the glass),
    then the tip (mm of gap) if it is in the fit; `residual_u` are the uncertainties they were
    weighed with. `p` is None without degrees of freedom. `facing_length_mm` is where the
    thinnest blade stops on this curve, never the break point. `interval_95` holds, by parameter
    and for `tip_opening_mm` and `facing_length_mm`, the limits between which the truth lies in
    95 of 100 such measurements.
    """

    curve: str
    parameters: Mapping[str, float]
    uncertainties: Mapping[str, float]
    covariance: tuple[tuple[float, ...], ...]
    chi_square: float
    dof: int
    p: float | None
    residuals: tuple[float, ...]
    tip_opening_mm: float
    tip_opening_u_mm: float
    facing_length_mm: float | None
    facing_length_u_mm: float | None
    residual_u: tuple[float, ...] = ()
    interval_95: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def refused(self) -> bool:
        """Whether the readings refuse this curve."""
        return self.p is not None and self.p < REFUSED_BELOW


@dataclass(frozen=True, slots=True)
class RailAnalysis:
    """What the readings of one rail (or of the mean of both) say.

    `judgement` is "chosen", "none fits" or "cannot be judged"; `chosen` names the curve or is
    None. `tip_offset_mm` is the measured tip opening minus where the rails' curve points.
    `suspect` holds indices into `stops` of readings worth taking again. `left_out` says by
    curve, in words, why it isn't among `fits`.
    """

    stops: tuple[BladeStop, ...]
    judgement: str
    chosen: str | None
    tip_in_fit: bool
    tip_offset_mm: float | None
    tip_offset_u_mm: float | None
    fits: tuple[CurveFit, ...]
    suspect: tuple[int, ...]
    left_out: Mapping[str, str] = field(default_factory=dict)

    def fit(self, curve: str | None) -> CurveFit | None:
        """Give the fit of one curve, if it is there."""
        return next((fit for fit in self.fits if fit.curve == curve), None)


def arrange_readings(
    rails: Sequence[Sequence[BladeStop]],
    tips: Sequence[tuple[float, float] | None],
    uncertainties: Uncertainties,
) -> ReadingArrays:
    """Lay rails out as arrays; `tips` are (opening, standard uncertainty) in mm, or None.

    Padding and missing tips hold harmless positive numbers that carry no weight.
    """
    n, rows = max(map(len, rails), default=0), len(rails)
    blades = np.ones((5, n, rows))
    blades[4] = 0.0
    for r, stops in enumerate(rails):
        for i, stop in enumerate(stops):
            blades[:, i, r] = (
                stop.gap_mm,
                stop.position_mm,
                uncertainties.gap_mm if stop.gap_u_mm is None else stop.gap_u_mm,
                uncertainties.position_mm if stop.position_u_mm is None else stop.position_u_mm,
                1.0,
            )
    tip = np.array([(1.0, 1.0) if tip is None else tip for tip in tips]).reshape(rows, 2)
    return ReadingArrays(
        blades[0], blades[1], blades[2], blades[3], blades[4], tip[:, 0], tip[:, 1], np.zeros(rows)
    )


def judge_rails(
    rails: Sequence[Sequence[BladeStop]],
    tips: Sequence[tuple[float, float] | None],
    uncertainties: Uncertainties,
    *,
    tip: str = "judge",
    curves: Sequence[str] | None = None,
) -> list[RailAnalysis]:
    """Analyse several rails together; `tip` is "judge", "in" or "out".

    Raises ValueError for an unknown curve or an unknown way to take the tip.
    """
    if tip not in {"judge", "in", "out"}:
        raise ValueError("The tip can be judged, taken in or left out.")
    keys = list(CURVES) if curves is None else [key for key in CURVES if key in set(curves)]
    if curves is not None and len(keys) < len(set(curves)):
        unknown = sorted(set(curves) - set(CURVES))
        raise ValueError(f"There is no curve “{unknown[0]}”. Choose from {', '.join(CURVES)}.")
    if not rails:
        return []
    readings = arrange_readings(rails, tips, uncertainties)
    alone = fit_curves(readings, keys)
    without = [_rail(alone, row, stops) for row, stops in enumerate(rails)]
    wanted = [
        row
        for row, rail in enumerate(without)
        if tips[row] is not None and tip != "out" and (tip == "in" or _takes_tip(rail, tips[row]))
    ]
    results = without
    if wanted:
        rows = np.array(wanted)
        part = readings.take(rows)
        part.tip_in[:] = 1.0
        together = fit_curves(part, keys)
        for at, row in enumerate(wanted):
            rail = _rail(together, at, rails[row], tip_in=True)
            # taken in because it agreed: if the rails' own curve is refused with it, it did not
            if tip == "in" or without[row].chosen is None or rail.chosen == without[row].chosen:
                results[row] = _with_offset(rail, without[row], tips[row])
                continue
            results[row] = _with_offset(without[row], without[row], tips[row])
    for row in set(range(len(rails))) - set(wanted):
        results[row] = _with_offset(without[row], without[row], tips[row])
    return results


def _takes_tip(rail: RailAnalysis, tip: tuple[float, float] | None) -> bool:
    """Whether the tip agrees with the rails' curve, or nothing can be judged without it."""
    if rail.judgement == CANNOT_JUDGE:
        return True
    offset, offset_u = _offset(rail.fit(rail.chosen), tip)
    return offset is not None and offset_u is not None and abs(offset) <= AGREES_WITHIN * offset_u


def _offset(
    fit: CurveFit | None, tip: tuple[float, float] | None
) -> tuple[float, float] | tuple[None, None]:
    if fit is None or tip is None:
        return None, None
    return tip[0] - fit.tip_opening_mm, float(np.hypot(tip[1], fit.tip_opening_u_mm))


def _with_offset(
    rail: RailAnalysis, alone: RailAnalysis, tip: tuple[float, float] | None
) -> RailAnalysis:
    """Add how far the tip stands from where the chosen curve points when fitted without it."""
    offset, offset_u = _offset(alone.fit(rail.chosen), tip)
    return RailAnalysis(
        rail.stops, rail.judgement, rail.chosen, rail.tip_in_fit, offset, offset_u,
        rail.fits, rail.suspect, rail.left_out,
    )  # fmt: skip


def _rail(
    fits: Mapping[str, CurveFits], row: int, stops: Sequence[BladeStop], *, tip_in: bool = False
) -> RailAnalysis:
    """Choose the simplest curve not refused among those fitted to one row."""
    found = tuple(
        _curve_fit(fit, row, len(stops), tip_in)
        for fit in fits.values()
        if fit.status[row] == FITTED
    )
    judged = [fit for fit in found if fit.p is not None]
    accepted = [fit for fit in judged if not fit.refused]
    simplest = min(accepted, key=lambda fit: len(fit.parameters), default=None)
    # a curve that could have been judged and cannot even be fitted is refused too
    judgeable = any(fit.status[row] != TOO_FEW and fit.dof[row] > 0 for fit in fits.values())
    return RailAnalysis(
        stops=tuple(stops),
        judgement=CHOSEN if simplest else NONE_FITS if judgeable else CANNOT_JUDGE,
        chosen=simplest.curve if simplest else None,
        tip_in_fit=tip_in,
        tip_offset_mm=None,
        tip_offset_u_mm=None,
        fits=found,
        suspect=(),
        left_out={
            key: _why(fit, int(fit.status[row]))
            for key, fit in fits.items()
            if fit.status[row] != FITTED
        },
    )


def _why(fit: CurveFits, status: int) -> str:
    return {
        TOO_FEW: f"It has {fit.curve.free} parameters: too few readings to draw it.",
        UNREAL: fit.curve.unreal,
        UNDETERMINED: "These readings leave it undetermined.",
    }[status]


def _curve_fit(fit: CurveFits, row: int, blades: int, tip_in: bool) -> CurveFit:
    """Take one row out of the arrays and say it in the parameters people know."""
    curve = fit.curve
    names = curve.parameter_names
    values, derivatives = curve.to_outer(fit.inner[:, row : row + 1])
    by_inner = derivatives[:, :, 0]
    inner_covariance = fit.inner_covariance[:, :, row]
    covariance = by_inner @ inner_covariance[: curve.free, : curve.free] @ by_inner.T
    spread = np.sqrt(np.diag(covariance))
    tip, tip_u = float(fit.tip_opening[row]), _along(fit.tip_gradient[:, row], inner_covariance)
    facing = float(fit.facing_length[row]) if blades else None
    facing_u = _along(fit.facing_gradient[:, row], inner_covariance) if blades else None
    parameters = dict(zip(names, map(float, values[:, 0]), strict=True))
    uncertainties = dict(zip(names, map(float, spread), strict=True))
    take = [*range(blades), fit.residuals.shape[0] - 1] if tip_in else list(range(blades))
    return CurveFit(
        curve=curve.key,
        parameters=parameters,
        uncertainties=uncertainties,
        covariance=tuple(tuple(map(float, line)) for line in covariance),
        chi_square=float(fit.chi_square[row]),
        dof=int(fit.dof[row]),
        p=float(fit.p[row]) if fit.dof[row] > 0 else None,
        residuals=tuple(map(float, fit.residuals[take, row])),
        tip_opening_mm=tip,
        tip_opening_u_mm=tip_u,
        facing_length_mm=facing,
        facing_length_u_mm=facing_u,
        residual_u=tuple(map(float, fit.residual_u[take, row])),
        interval_95=_intervals(parameters, uncertainties, tip, tip_u, facing, facing_u),
    )


def _along(gradient: np.ndarray, covariance: np.ndarray) -> float:
    return float(np.sqrt(max(gradient @ covariance @ gradient, 0.0)))


# The power of a quantity that is nearly linear in the readings: a radius is the square of what
# the fit is straight in, a gap too. Limits are drawn there and carried over.
_STRAIGHT_POWER = {
    "radius_mm": 0.5,
    "coefficient_per_mm": -0.5,
    "curvature_per_mm": -0.5,
    "tip_opening_mm": 0.5,
}


def _intervals(
    parameters: Mapping[str, float],
    uncertainties: Mapping[str, float],
    tip: float,
    tip_u: float,
    facing: float | None,
    facing_u: float | None,
) -> dict[str, tuple[float, float]]:
    quantities = {name: (value, uncertainties[name]) for name, value in parameters.items()}
    quantities["tip_opening_mm"] = (tip, tip_u)
    if facing is not None and facing_u is not None:
        quantities["facing_length_mm"] = (facing, facing_u)
    return {name: interval_95(name, *pair) for name, pair in quantities.items()}


def interval_95(name: str, value: float, standard_u: float) -> tuple[float, float]:
    """Give 95 % limits of a quantity, drawn on the scale on which it is nearly normal."""
    power = _STRAIGHT_POWER.get(name)
    reach = K_95 * standard_u
    if power is None or value <= 0.0:
        return value - reach, value + reach
    straight = value**power
    reach = abs(power) * straight / value * reach
    ends = [max(straight - reach, 0.0), straight + reach]
    low, high = sorted(
        end ** (1.0 / power) if end > 0.0 else (0.0 if power > 0 else np.inf) for end in ends
    )
    return float(low), float(high)
