"""Judges a facing: the rails first, then the tip, then the two rails against each other."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.core.readings import BladeStop


@dataclass(frozen=True, slots=True)
class CurveFit:
    """One curve fitted to one rail. Lengths in mm, uncertainties standard (k = 1).

    `residuals` are read minus fitted, one per blade in the order given (mm along the glass),
    then the tip (mm of gap) if it is in the fit. `p` is None without degrees of freedom.
    `facing_length_mm` is where the thinnest blade stops on this curve, never the break point.
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


@dataclass(frozen=True, slots=True)
class RailAnalysis:
    """What the readings of one rail (or of the mean of both) say.

    `judgement` is "chosen", "none fits" or "cannot be judged"; `chosen` names the curve or is
    None. `tip_offset_mm` is the measured tip opening minus where the rails' curve points.
    `suspect` holds indices into `stops` of readings worth taking again.
    """

    stops: tuple[BladeStop, ...]
    judgement: str
    chosen: str | None
    tip_in_fit: bool
    tip_offset_mm: float | None
    tip_offset_u_mm: float | None
    fits: tuple[CurveFit, ...]
    suspect: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class BladeEvenness:
    """Right minus left for one blade: along the glass in mm, as a height in µm, and a verdict.

    `verdict` is "even", "uneven" or "cannot tell".
    """

    gap_mm: float
    position_difference_mm: float
    height_difference_um: float
    u_um: float
    verdict: str


@dataclass(frozen=True, slots=True)
class FacingAnalysis:
    """Both rails, their mean, and how even they are."""

    left: RailAnalysis | None
    right: RailAnalysis | None
    mean: RailAnalysis | None
    evenness: tuple[BladeEvenness, ...]
