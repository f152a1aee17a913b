"""Control charts of single values: whether a gauge, or a batch of pieces, runs as it did.

One value at a time gives no spread of its own, so the step from each value to the next
stands in for it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from scipy.special import chdtri, ndtri


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


# Of the range W of two standard normal values: d₂ = E W = 2/√π, d₃² = E W² − d₂² = 2 − 4/π, and
# D₄ = 1 + 3d₃/d₂, three deviations above the mean range (ISO 7870-2's names).
D2 = 2.0 / sqrt(pi)
D4 = 1.0 + 3.0 * sqrt(2.0 - 4.0 / pi) / D2


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
    centre, mean_step = float(values[:count].mean()), float(steps[: count - 1].mean())
    three_sigma = 3.0 * mean_step / D2
    # equal values leave no width; rounding must not then put one of them outside
    slack = 1e-9 * max(1.0, abs(centre))
    lower, upper = centre - three_sigma, centre + three_sigma
    range_upper = D4 * mean_step
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
