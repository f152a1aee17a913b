"""What a gauge can and cannot tell, put together from its causes.

Each cause is a standard uncertainty (k = 1) in mm; independent causes add as the root of the
sum of their squares (JCGM 100:2008, 5.1.2). A cause is known from a limit, such as a resolution
(as good as infinitely many degrees of freedom), or from few repeats (and so from few). The
Welch–Satterthwaite formula joins the degrees of freedom, and the coverage factor for 95 % follows
from what it gives. Stated on paper is the expanded uncertainty with k = 2.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, hypot, inf, isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.core.values.regression import student_quantile

COVERAGE_FACTOR = 2.0
K_95 = 1.959963984540054  # two-sided 95 % of the normal distribution


@dataclass(frozen=True, slots=True)
class Cause:
    """One line of a budget: what it is, its standard uncertainty in mm, its degrees of freedom."""

    what: str
    u_mm: float
    dof: float = inf

    def __post_init__(self) -> None:
        """Raise ValueError for an uncertainty that is none."""
        if not (isfinite(self.u_mm) and self.u_mm >= 0):
            raise ValueError(f"The uncertainty of the {self.what} must be zero or more.")
        if not self.dof > 0:
            raise ValueError(
                f"The uncertainty of the {self.what} says nothing without degrees of freedom."
            )


@dataclass(frozen=True, slots=True)
class Budget:
    """Causes combined: `u_mm` standard; times `coverage_factor` it is the expanded one."""

    causes: tuple[Cause, ...]
    u_mm: float
    dof: float
    coverage_factor: float


def rectangular(half_width_mm: float) -> float:
    """The standard uncertainty of limits ±a, all values alike: a/√3 (GUM 4.3.7)."""
    if not (isfinite(half_width_mm) and half_width_mm >= 0):
        raise ValueError("The half-width must be a length of zero or more.")
    return half_width_mm / sqrt(3.0)


def resolution(step_mm: float, what: str = "resolution") -> Cause:
    """The uncertainty of a scale read to the nearest step: its half-width is step/2."""
    return Cause(what, rectangular(step_mm / 2.0))


def tolerance(half_width_mm: float, what: str = "blade tolerance") -> Cause:
    """The uncertainty of a size known within ±half_width, such as a blade's."""
    return Cause(what, rectangular(half_width_mm))


def repeatability(
    standard_deviation_mm: float,
    readings: int = 1,
    dof: float = inf,
    what: str = "repeatability",
) -> Cause:
    """The scatter of the mean of `readings`, from the shop's own study: s/√n."""
    if readings < 1:
        raise ValueError("A mean needs at least one reading.")
    return Cause(what, standard_deviation_mm / sqrt(readings), dof)


def combined(causes: Sequence[Cause]) -> float:
    """The root of the sum of squares of independent causes, in mm."""
    return hypot(*(cause.u_mm for cause in causes))


def propagate(jacobian: ArrayLike, covariance: ArrayLike) -> NDArray[np.float64]:
    """J·V·Jᵀ: the covariance of what is worked out from correlated inputs (GUM 5.2, H.2.3).

    A row of `jacobian` holds one result's sensitivities to the inputs.
    """
    rows = np.asarray(jacobian, dtype=float)
    propagated: NDArray[np.float64] = rows @ np.asarray(covariance, dtype=float) @ rows.T
    return propagated


def combine_budget(causes: Sequence[Cause], level: float = 0.95) -> Budget:
    """u² = Σuᵢ²; ν = u⁴ / Σ(uᵢ⁴/νᵢ), truncated (GUM G.4.1); k from Student's t.

    Raises ValueError if there is no cause.
    """
    if not causes:
        raise ValueError("A budget needs at least one cause.")
    u = combined(causes)
    fourths = sum(cause.u_mm**4 / cause.dof for cause in causes)
    dof = u**4 / fourths if fourths > 0 else inf
    # ν is never below the least νᵢ; a cause given as less than 1 is used as 1
    whole = float(max(1, floor(dof + 1e-9))) if isfinite(dof) else inf
    factor = student_quantile(0.5 + level / 2, whole)
    return Budget(tuple(causes), u, dof, factor)


def expanded(standard_u: float) -> float:
    """The expanded uncertainty, k = 2: about 95 of 100 truths lie within it."""
    return COVERAGE_FACTOR * standard_u


def interval_95(value: float, standard_u: float, power: float = 1.0) -> tuple[float, float | None]:
    """95 % limits of a quantity whose `power` is nearly normal, drawn on that scale.

    A power other than 1 is for quantities that can't be negative. The upper limit is None where
    there is none.
    """
    reach = K_95 * standard_u
    if power == 1.0:
        return value - reach, value + reach
    straight = value**power
    reach *= abs(power) * straight / value
    ends = (max(straight - reach, 0.0), straight + reach)
    if power > 0:
        return ends[0] ** (1.0 / power), ends[1] ** (1.0 / power)
    upper = ends[0] ** (1.0 / power) if ends[0] > 0.0 else None
    return ends[1] ** (1.0 / power), upper
