"""What is found of one rail, as values: the fit of each curve, and what is judged of them."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.core.values.readings import BladeStop
from app.core.values.uncertainty import K_95, interval_95

REFUSED_BELOW = 0.05
CHOSEN, NONE_FITS, CANNOT_JUDGE = "chosen", "none fits", "cannot be judged"
SPAN_PARAMETERS = 3  # curves of more say too little of the break by themselves
# how a measured tip stands to the curves that the blades don't refuse
ON_CURVE, INSIDE, OUTSIDE, UNCLEAR = "on the curve", "inside", "outside", "unclear"

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
        """The limits that hold the truth in 95 of 100 such measurements.

        By parameter and for `tip_opening_mm` and `facing_length_mm`, in their units; an upper
        limit is None where the readings set none.
        """
        quantities = {name: (it, self.uncertainties[name]) for name, it in self.parameters.items()}
        quantities["tip_opening_mm"] = (self.tip_opening_mm, self.tip_opening_u_mm)
        if self.facing_length_mm is not None and self.facing_length_u_mm is not None:
            quantities["facing_length_mm"] = (self.facing_length_mm, self.facing_length_u_mm)
        return {
            name: interval_95(value, u, STRAIGHT_POWER.get(name, 1.0))
            for name, (value, u) in quantities.items()
        }

    @property
    def refused(self) -> bool:
        """Whether the readings refuse this curve."""
        return self.p is not None and self.p < REFUSED_BELOW

    @property
    def passed(self) -> bool:
        """Whether it could be judged, and the readings do not refuse it."""
        return self.p is not None and not self.refused


@dataclass(frozen=True, slots=True)
class RailAnalysis:
    """What the readings of one rail (or of the mean of both) say.

    `judgement` is "chosen", "none fits" or "cannot be judged"; `chosen` names the curve or is
    None. `tip_offset_mm` is the measured tip opening minus where the rails' curve points;
    `tip_stands` is INSIDE or OUTSIDE only where every curve that isn't refused says so.
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
    tip_stands: str | None = None

    def fit(self, curve: str | None) -> CurveFit | None:
        """The fit of one curve, if it is there."""
        return next((fit for fit in self.fits if fit.curve == curve), None)

    @property
    def chosen_fit(self) -> CurveFit | None:
        """The fit of the chosen curve."""
        return self.fit(self.chosen)

    @property
    def break_span_mm(self) -> tuple[float, float] | None:
        """The 95 % limits of the break over all unrefused curves of up to three parameters, mm.

        An arc that is merely not refused is often not the truth, and its own limits then miss
        the break; these hold it. A curve that takes all the readings there are can't be refused
        and counts. None where no such curve could be judged and passed.
        """
        possible = [fit for fit in self.fits if may_be(fit)]
        if not any(fit.passed for fit in possible):
            return None
        ends = [
            fit.parameters["break_mm"] + side * K_95 * fit.uncertainties["break_mm"]
            for fit in possible
            for side in (-1.0, 1.0)
        ]
        return min(ends), max(ends)


def may_be(fit: CurveFit) -> bool:
    """Whether a curve of up to three parameters isn't refused."""
    return not fit.refused and len(fit.parameters) <= SPAN_PARAMETERS
