"""What a gauge can and cannot tell, put together from its causes.

Each cause is a standard uncertainty (k = 1) in mm; independent causes add as the root of the
sum of their squares (JCGM 100:2008, 5.1.2). Stated on paper is the expanded uncertainty, k = 2.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, isfinite, sqrt

COVERAGE_FACTOR = 2.0
K_95 = 1.959963984540054  # two-sided 95 % of the normal distribution
K_95_ONE_SIDED = 1.6448536269514722


@dataclass(frozen=True, slots=True)
class Cause:
    """One line of an uncertainty budget: what it is and its standard uncertainty in mm."""

    what: str
    u_mm: float

    def __post_init__(self) -> None:
        """Raise ValueError for an uncertainty that is none."""
        if not (isfinite(self.u_mm) and self.u_mm >= 0):
            raise ValueError(f"The uncertainty of the {self.what} must be zero or more.")


def rectangular(half_width_mm: float) -> float:
    """Give the standard uncertainty of limits ±a, all values alike: a/√3 (GUM 4.3.7)."""
    if not (isfinite(half_width_mm) and half_width_mm >= 0):
        raise ValueError("The half-width must be a length of zero or more.")
    return half_width_mm / sqrt(3.0)


def resolution(step_mm: float) -> Cause:
    """Give the uncertainty of a scale read to the nearest step: its half-width is step/2."""
    return Cause("resolution", rectangular(step_mm / 2.0))


def tolerance(half_width_mm: float, what: str = "blade tolerance") -> Cause:
    """Give the uncertainty of a size known within ±half_width, such as a blade's."""
    return Cause(what, rectangular(half_width_mm))


def repeatability(standard_deviation_mm: float, readings: int = 1) -> Cause:
    """Give the scatter of the mean of `readings`, from the shop's own study: s/√n."""
    if readings < 1:
        raise ValueError("A mean needs at least one reading.")
    return Cause("repeatability", standard_deviation_mm / sqrt(readings))


def combined(causes: Sequence[Cause]) -> float:
    """Give the root of the sum of squares of independent causes, in mm."""
    return hypot(*(cause.u_mm for cause in causes))


def expanded(standard_u: float) -> float:
    """Give the expanded uncertainty, k = 2: about 95 of 100 truths lie within it."""
    return COVERAGE_FACTOR * standard_u


def en_number(difference: float, expanded_before: float, expanded_after: float) -> float:
    """Give |difference| / √(U₁² + U₂²), the Eₙ form of ISO 13528 and ISO/IEC 17043."""
    return abs(difference) / hypot(expanded_before, expanded_after)


def interval_95(value: float, standard_u: float, power: float = 1.0) -> tuple[float, float | None]:
    """Give 95 % limits of a quantity whose `power` is nearly normal, drawn on that scale.

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
