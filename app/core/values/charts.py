"""Control charts of single values: whether a gauge, or a batch of pieces, runs as it did.

One value at a time gives no spread of its own, so the step from each value to the next
stands in for it. The constants that turn a mean range into a standard deviation are
computed from the normal distribution here, because printed tables differ in the last digit.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import exp, lgamma, sqrt

import numpy as np
from scipy.special import chdtri, ndtr, ndtri


@dataclass(frozen=True, slots=True)
class ChartConstants:
    """The usual constants for samples of size n, by their usual names."""

    n: int
    d2: float
    d3: float
    upper_d4: float
    c4: float


@dataclass(frozen=True, slots=True)
class IndividualsChart:
    """Single values in order, with centre and limits in mm.

    `beyond` and `ranges_beyond` are indices of values, and of steps (step i leads from value
    i to i + 1), outside their limits. `provisional` while
    fewer than twenty values stand behind the limits.
    """

    values_mm: tuple[float, ...]
    centre_mm: float
    lower_mm: float
    upper_mm: float
    beyond: tuple[int, ...]
    ranges_beyond: tuple[int, ...]
    provisional: bool


# common practice, no source: limits from fewer values move too much to be relied on
SETTLED_COUNT = 20
NATURAL = 0.9973  # of a normal distribution within three standard deviations


@lru_cache(maxsize=64)
def compute_constants(n: int) -> ChartConstants:
    """Constants for samples of n from a normal distribution; raises ValueError below n = 2.

    With W the range of n standard normal values: d₂ = E W = ∫(1 − Φⁿ − (1 − Φ)ⁿ)dx,
    d₃² = E W² − d₂², P(W ≤ w) = n∫φ(x)(Φ(x + w) − Φ(x))ⁿ⁻¹dx; D₄ = 1 + 3d₃/d₂,
    c₄ = √(2/(n−1))·Γ(n/2)/Γ((n−1)/2).
    """
    if n < 2:
        raise ValueError("A range needs at least two values.")
    # the trapezoid rule on a wide grid is exact to rounding for such smooth, vanishing tails
    x = np.linspace(-9.0, 9.0, 721)
    phi = ndtr(x)
    d2 = float(np.trapezoid(1.0 - phi**n - (1.0 - phi) ** n, x))
    w = np.linspace(0.0, 18.0, 1441)
    density = np.exp(-(x**2) / 2.0) / sqrt(2.0 * np.pi)
    within = np.clip(ndtr(x[None, :] + w[:, None]) - phi[None, :], 0.0, 1.0) ** (n - 1)
    distribution = np.asarray(n * np.trapezoid(density[None, :] * within, x, axis=1))
    d3 = _range_deviation(d2, w, distribution)
    c4 = sqrt(2.0 / (n - 1)) * exp(lgamma(n / 2.0) - lgamma((n - 1) / 2.0))
    return ChartConstants(
        n=n,
        d2=d2,
        d3=d3,
        upper_d4=1.0 + 3.0 * d3 / d2,
        c4=c4,
    )


def tolerance_factor(count: int, *, sure: float, share: float = NATURAL) -> float:
    """Howe's factor k of the two-sided tolerance interval x̄ ± k·s of a normal distribution.

    k² = ν(1 + 1/n)z²/χ²(1 − sure; ν), ν = n − 1: `share` of all lie within it, with `sure` of 1.
    Form of the NIST/SEMATECH e-Handbook, 7.2.6.3.
    """
    dof = count - 1
    z = float(ndtri(0.5 + share / 2.0))
    return z * sqrt(dof * (1.0 + 1.0 / count) / float(chdtri(dof, sure)))


def filled_factor(count: int, *, sure: float, share: float = NATURAL) -> float:
    """K such that, with `sure` of 1, the limits of `share` of all lie outside x̄ ± k·s.

    Both the deviation and the mean are taken at their end of a one-sided interval, each with half
    of what is left to chance; nought where the values settle nothing.
    """
    dof, half = count - 1, (1.0 - sure) / 2.0
    z = float(ndtri(0.5 + share / 2.0))
    least = sqrt(dof / float(chdtri(dof, half)))
    return max(z * least - float(ndtri(1.0 - half)) / sqrt(count), 0.0)


def _range_deviation(d2: float, w: np.ndarray, distribution: np.ndarray) -> float:
    """d₃ from E W² = ∫2w·P(W > w)dw; Simpson's rule, as the integrand starts with a slope."""
    tail = 2.0 * w * (1.0 - distribution)
    weights = np.ones(w.size)
    weights[1:-1:2], weights[2:-1:2] = 4.0, 2.0
    second_moment = float(np.sum(weights * tail)) * float(w[1] - w[0]) / 3.0
    return sqrt(second_moment - d2**2)


def chart_individuals(values_mm: Sequence[float], baseline: int | None = None) -> IndividualsChart:
    """Individuals and moving-range chart in the form of ISO 7870-2: x̄ ± 3·R̄/d₂(2).

    Limits come from the first `baseline` values, or from all. The step's upper limit is
    D₄(2)·R̄. Raises ValueError with fewer than two values or one that is not finite.
    """
    values = np.asarray(values_mm, dtype=float)
    if not np.isfinite(values).all():
        raise ValueError("Every value must be a finite number.")
    count = values.size if baseline is None else min(baseline, values.size)
    if count < 2:
        raise ValueError("A run chart needs at least two values.")
    steps = np.abs(np.diff(values))
    constants = compute_constants(2)
    centre, mean_step = float(values[:count].mean()), float(steps[: count - 1].mean())
    three_sigma = 3.0 * mean_step / constants.d2
    # equal values leave no width; rounding must not then put one of them outside
    slack = 1e-9 * max(1.0, abs(centre))
    lower, upper = centre - three_sigma, centre + three_sigma
    range_upper = constants.upper_d4 * mean_step
    outside = (values < lower - slack) | (values > upper + slack)
    return IndividualsChart(
        values_mm=tuple(float(value) for value in values),
        centre_mm=centre,
        lower_mm=lower,
        upper_mm=upper,
        beyond=tuple(int(i) for i in np.flatnonzero(outside)),
        ranges_beyond=tuple(int(i) for i in np.flatnonzero(steps > range_upper + slack)),
        provisional=count < SETTLED_COUNT,
    )
