"""Judges rails: first the blades alone, then the tip against where their curve points.

A facing in trade use often follows an arc under its blades and leaves it at the tip. With the
tip inside the fit such a facing is refused by every plain curve, and the maker learns nothing.
So the blades are judged alone, and the tip is taken in only if it agrees with them, or if the
blades leave nothing to judge by.

Many rails are judged at once, as arrays; one rail's values are built when asked for.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from app.core.facing.curves import CURVES
from app.core.facing.descent import Numbers, ReadingArrays
from app.core.facing.families import Array, Flags
from app.core.facing.fitting import (
    FITTED,
    TOO_FEW,
    UNDETERMINED,
    UNREAL,
    Fits,
    fit_curves,
)
from app.core.values.readings import BladeStop, Uncertainties
from app.core.values.uncertainty import interval_95

REFUSED_BELOW = 0.05
AGREES_WITHIN = 2.0
CHOSEN, NONE_FITS, CANNOT_JUDGE = "chosen", "none fits", "cannot be judged"
NONE = -1  # no curve

# The power of a quantity in which it is nearly linear in the readings: a radius is the square
# of what a fit is straight in, and so is a gap. Limits are drawn there and carried over.
STRAIGHT_POWER = {
    "radius_mm": 0.5,
    "coefficient_per_mm": -0.5,
    "half_length_mm": -2.0,
    "half_height_mm": -1.0,
    "tip_radius_mm": -1.0,
    "tip_opening_mm": 0.5,
}


@dataclass(frozen=True, slots=True)
class CurveFit:
    """One curve fitted to one rail. Lengths in mm, uncertainties standard (k = 1).

    `residuals` are read minus fitted, one per blade in the order given (mm along the glass),
    then the tip (mm of gap) if it is in the fit; `residual_u` are the uncertainties they were
    weighed with. `reach_per_gap` is how far each blade's stop moves per mm of its thickness.
    `p` is None without degrees of freedom. `facing_length_mm` is where the thinnest blade stops
    on this curve, never the break point.
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
    reach_per_gap: tuple[float, ...] = ()

    @property
    def interval_95(self) -> dict[str, tuple[float, float | None]]:
        """Give the limits that hold the truth in 95 of 100 such measurements.

        By parameter and for `tip_opening_mm` and `facing_length_mm`, in their units; an upper
        limit is None where the readings set none.
        """
        quantities = {name: (it, self.uncertainties[name]) for name, it in self.parameters.items()}
        quantities["tip_opening_mm"] = (self.tip_opening_mm, self.tip_opening_u_mm)
        if self.facing_length_mm is not None and self.facing_length_u_mm is not None:
            quantities["facing_length_mm"] = (self.facing_length_mm, self.facing_length_u_mm)
        return {
            name: interval_95(value, spread, STRAIGHT_POWER.get(name, 1.0))
            for name, (value, spread) in quantities.items()
        }

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

    @property
    def chosen_fit(self) -> CurveFit | None:
        """The fit of the chosen curve."""
        return self.fit(self.chosen)


@dataclass(frozen=True, slots=True)
class JudgedRails:
    """N rails judged together. `chosen` numbers the curve, or is NONE.

    Row i of `together`, the fits with the tip, belongs to the rail `taken.index(i)`.
    """

    readings: ReadingArrays
    alone: Fits
    together: Fits | None
    row_together: Numbers
    judgeable: Flags
    chosen: Numbers
    tip_offset: Array
    tip_offset_u: Array

    def slopes(self, row: int, blades: int) -> list[float] | None:
        """Say how steeply one rail opens at each blade, dh/du; None where no curve was fitted.

        On the chosen curve, or on the one nearest to the readings.
        """
        fits, at = self._fits(row)
        curve = int(self.chosen[row])
        if curve == NONE:
            chi_square = np.where(fits.status[:, at] == FITTED, fits.chi_square[:, at], np.inf)
            curve = int(chi_square.argmin())
            if not np.isfinite(chi_square[curve]):
                return None
        found: list[float] = (1.0 / fits.reach_per_gap[:blades, curve, at]).tolist()
        return found

    def _fits(self, row: int) -> tuple[Fits, int]:
        """Give the fits that count for one rail, with the tip or without, and its place there."""
        if self.together is not None and self.row_together[row] != NONE:
            return self.together, int(self.row_together[row])
        return self.alone, row

    def rail(self, row: int, stops: Sequence[BladeStop]) -> RailAnalysis:
        """Build the values of one rail, whose readings were these."""
        tip_in = bool(self.row_together[row] != NONE)
        fits, at = self._fits(row)
        chosen = int(self.chosen[row])
        judgement = CHOSEN if chosen != NONE else NONE_FITS if self.judgeable[row] else CANNOT_JUDGE
        found = _curve_fits(fits, at, len(stops), tip_in=tip_in)
        suspect: tuple[int, ...] = ()
        if judgement == NONE_FITS:
            suspect = find_suspect(self.readings.alone(row, len(stops), tip_in=tip_in), found)
        compared = bool(np.isfinite(self.tip_offset[row]))
        status = fits.status[:, at].tolist()
        return RailAnalysis(
            stops=tuple(stops),
            judgement=judgement,
            chosen=fits.curves[chosen].key if chosen != NONE else None,
            tip_in_fit=tip_in,
            tip_offset_mm=float(self.tip_offset[row]) if compared else None,
            tip_offset_u_mm=float(self.tip_offset_u[row]) if compared else None,
            fits=found,
            suspect=suspect,
            left_out={
                curve.key: _why_not(status[c], curve.free, curve.unreal)
                for c, curve in enumerate(fits.curves)
                if status[c] != FITTED
            },
        )


def _why_not(status: int, parameters: int, unreal: str) -> str:
    return {
        TOO_FEW: f"It has {parameters} parameters: too few readings to draw it.",
        UNREAL: unreal,
        UNDETERMINED: "These readings leave it undetermined.",
    }[status]


def arrange_readings(
    rails: Sequence[Sequence[BladeStop]],
    tips: Sequence[tuple[float, float] | None],
    uncertainties: Uncertainties,
) -> ReadingArrays:
    """Lay rails out as arrays; `tips` are (opening, standard uncertainty) in mm, or None.

    No rail may be empty. A missing tip holds a harmless 1 and must not be taken into a fit.
    """
    n = max(map(len, rails), default=0)
    gap_u, position_u = uncertainties.gap_mm, uncertainties.position_mm
    table = np.array(
        [
            [
                (
                    stop.gap_mm,
                    stop.position_mm,
                    gap_u if stop.gap_u_mm is None else stop.gap_u_mm,
                    position_u if stop.position_u_mm is None else stop.position_u_mm,
                    1.0,
                )
                for stop in stops
            ]
            + [(stops[0].gap_mm, stops[0].position_mm, 1.0, 1.0, 0.0)] * (n - len(stops))
            for stops in rails
        ],
        dtype=float,
    ).reshape(len(rails), n, 5)
    columns = np.ascontiguousarray(table.transpose(2, 1, 0))
    tip = np.array([(1.0, 1.0) if tip is None else tip for tip in tips]).reshape(len(rails), 2)
    return ReadingArrays(
        columns[0], columns[1], columns[2], columns[3], columns[4],
        tip[:, 0], tip[:, 1], np.zeros(len(rails)),
    )  # fmt: skip


def judge_rails(
    rails: Sequence[Sequence[BladeStop]],
    tips: Sequence[tuple[float, float] | None],
    uncertainties: Uncertainties,
    *,
    tip: str = "judge",
    curves: Sequence[str] | None = None,
) -> list[RailAnalysis]:
    """Analyse several rails together; `tips` are (opening, standard uncertainty) in mm, or None.

    `tip` is "judge", "in" or "out". Raises ValueError for another word or an unknown curve.
    """
    keys = order_curves(curves)
    told = [row for row, stops in enumerate(rails) if stops]
    results = [RailAnalysis((), CANNOT_JUDGE, None, False, None, None, (), ())] * len(rails)
    if told:
        opening = [tips[row] for row in told]
        arrays = arrange_readings([rails[row] for row in told], opening, uncertainties)
        has_tip = np.array([each is not None for each in opening])
        judged = judge_arrays(arrays, has_tip, tip=tip, curves=keys)
        for at, row in enumerate(told):
            results[row] = judged.rail(at, rails[row])
    return results


def order_curves(curves: Sequence[str] | None) -> list[str]:
    """Give the keys asked for in the table's order; raise ValueError for an unknown one."""
    if curves is None:
        return list(CURVES)
    for key in curves:
        if key not in CURVES:
            raise ValueError(f"There is no curve “{key}”. Choose from {', '.join(CURVES)}.")
    return [key for key in CURVES if key in set(curves)]


def judge_arrays(
    readings: ReadingArrays, has_tip: Flags, *, tip: str = "judge", curves: Sequence[str]
) -> JudgedRails:
    """Fit every curve to every rail, choose, and take the tip in where it belongs.

    `tip` is "judge", "in" or "out"; raises ValueError for another word or an unknown curve.
    """
    if tip not in {"judge", "in", "out"}:
        raise ValueError("The tip can be judged, taken in (“in”) or left out (“out”).")
    alone = fit_curves(readings, curves)
    chosen, judgeable = _choose(alone)
    offset, offset_u = _offsets(alone, chosen, readings, has_tip)
    row_together = np.full(len(chosen), NONE)
    together = None
    wanted = has_tip & (tip == "in")
    if tip == "judge":
        wanted = has_tip & (~judgeable | (np.abs(offset) <= AGREES_WITHIN * offset_u))
    if wanted.any():
        rows = np.flatnonzero(wanted)
        together = fit_curves(replace(readings.take(rows), tip_in=np.ones(len(rows))), curves)
        chosen_in, judgeable_in = _choose(together)
        # it was taken in because it agreed: if their own curve is refused with it, it did not
        stays = (chosen_in == chosen[rows]) | ~judgeable[rows] | (tip == "in")
        kept = rows[stays]
        row_together[kept] = np.flatnonzero(stays)
        chosen[kept], judgeable[kept] = chosen_in[stays], judgeable_in[stays]
        offset, offset_u = _offsets(alone, chosen, readings, has_tip)
    return JudgedRails(readings, alone, together, row_together, judgeable, chosen, offset, offset_u)


def _choose(fits: Fits) -> tuple[Numbers, Flags]:
    """Find the simplest curve not refused for each rail, and whether any could be judged.

    A curve that could have been judged and cannot even be fitted is refused too.
    """
    accepted = (fits.status == FITTED) & (fits.dof > 0) & (fits.p >= REFUSED_BELOW)
    simplest = sorted(range(len(fits.curves)), key=lambda c: fits.curves[c].free)
    first = accepted[simplest].argmax(axis=0)
    chosen = np.where(accepted.any(axis=0), np.array(simplest, dtype=np.intp)[first], NONE)
    return chosen, np.asarray(((fits.status != TOO_FEW) & (fits.dof > 0)).any(axis=0))


def _offsets(
    alone: Fits, chosen: Numbers, readings: ReadingArrays, has_tip: Flags
) -> tuple[Array, Array]:
    """Compare each tip with where the chosen curve points when fitted without it; else nan."""
    pick = (np.maximum(chosen, 0), np.arange(len(chosen)))
    known = has_tip & (chosen != NONE) & (alone.status[pick] == FITTED)
    offset = np.where(known, readings.tip - alone.tip_opening[pick], np.nan)
    return offset, np.where(known, np.hypot(readings.tip_u, alone.tip_opening_u[pick]), np.nan)


def find_suspect(readings: ReadingArrays, fits: Sequence[CurveFit]) -> tuple[int, ...]:
    """Name the reading of one rail, all of whose curves are refused, to take again.

    It is the one without which a simple curve passes: with two parameters if there is any, then
    with three; among several the one whose loss makes the best fit. If no loss makes one pass, it
    is the one whose loss brings a curve of two parameters nearest: a bad reading pulls the curve
    through all to itself, and the furthest from that is often its good neighbour. Where there are
    too few to leave one out, it is the furthest from the simplest curve, or those that contradict
    most others.
    """
    n = readings.gap.shape[0]
    strain = np.full(n, np.inf)
    for parameters in (2, 3):
        if n - 1 + readings.tip_in[0] > parameters:
            without = readings.take(np.zeros(n, dtype=int))
            place = np.arange(n)
            without.present[place, place] = 0.0
            without.gap[place, place] = np.roll(readings.gap[:, 0], 1)
            left = fit_curves(without, [k for k, c in CURVES.items() if c.free == parameters])
            fitted = left.status == FITTED
            passing = np.where(fitted & (left.p >= REFUSED_BELOW), left.p, 0.0)
            if passing.any():
                return (int(passing.max(axis=0).argmax()),)
            if parameters == 2:
                strain = np.where(fitted, left.chi_square, np.inf).min(axis=0)
    if np.isfinite(strain).any():
        return (int(strain.argmin()),)
    if fits:
        best = min(fits, key=lambda fit: (len(fit.parameters), fit.chi_square))
        away = [abs(r) / u for r, u in zip(best.residuals[:n], best.residual_u, strict=False)]
        return (int(np.argmax(away)),)
    gap, position = readings.gap[:, 0], readings.position[:, 0]
    agree = np.subtract.outer(gap, gap) * np.subtract.outer(position, position) <= 0.0
    against = (~agree).sum(axis=1)
    return tuple(np.flatnonzero((against == against.max()) & (against > 0)).tolist())


def _curve_fits(fits: Fits, row: int, blades: int, *, tip_in: bool) -> tuple[CurveFit, ...]:
    """Take one row out of the arrays and say it in the parameters people know."""
    n = fits.residuals.shape[0] - 1
    found = []
    for curve, numbers in zip(fits.curves, fits.of_one_set(row), strict=True):
        status, dof, p, chi_square, tip, tip_u, facing, facing_u = numbers[:8]
        if status != FITTED:
            continue
        names, free = curve.parameter_names, curve.free
        residuals, residual_u, reach = (
            numbers[32 : 33 + n],
            numbers[33 + n : 34 + 2 * n],
            34 + 2 * n,
        )
        tips = slice(n, n + 1) if tip_in else slice(0)
        found.append(
            CurveFit(
                curve=curve.key,
                parameters=dict(zip(names, numbers[8 : 8 + free], strict=True)),
                uncertainties=dict(zip(names, numbers[12 : 12 + free], strict=True)),
                covariance=tuple(tuple(numbers[i : i + free]) for i in range(16, 16 + 4 * free, 4)),
                chi_square=chi_square,
                dof=int(dof),
                p=p if dof > 0 else None,
                residuals=(*residuals[:blades], *residuals[tips]),
                tip_opening_mm=tip,
                tip_opening_u_mm=tip_u,
                facing_length_mm=facing,
                facing_length_u_mm=facing_u,
                residual_u=(*residual_u[:blades], *residual_u[tips]),
                reach_per_gap=tuple(numbers[reach : reach + blades]),
            )
        )
    return tuple(found)
