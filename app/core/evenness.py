"""Says how even the two rails are, blade by blade.

The same half number is far less height at the thinnest blade than at the thickest, so each
difference is given along the glass and as a height. Both rails are felt with the same blade:
its own error is common and cancels; only the two positions carry uncertainty.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from app.core.readings import BladeStop

# JCGM 106:2012: with a guard band of 1.645 u a verdict is wrong in at most 5 of 100 cases.
K_ONE_SIDED_95 = 1.6448536269514722
SAME_BLADE_MM = 1e-6
EVEN, UNEVEN, CANNOT_TELL = "even", "uneven", "cannot tell"


@dataclass(frozen=True, slots=True)
class BladeEvenness:
    """Right minus left for one blade: along the glass in mm, as a height in µm, and a verdict.

    `verdict` is "even", "uneven" or "cannot tell". `u_um` is the standard uncertainty of the
    height, `position_u_mm` that of the difference along the glass. The heights are None where
    the readings give no slope.
    """

    gap_mm: float
    position_difference_mm: float
    height_difference_um: float | None
    u_um: float | None
    verdict: str
    position_u_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class BladePair:
    """One blade felt on both rails: mean positions and their standard uncertainties, mm."""

    gap_mm: float
    gap_u_mm: float
    left_mm: float
    left_u_mm: float
    right_mm: float
    right_u_mm: float

    def mean_stop(self) -> BladeStop:
        """Give the mean of both rails: the positions average out, the blade's error does not."""
        return BladeStop(
            self.gap_mm,
            (self.left_mm + self.right_mm) / 2,
            self.gap_u_mm,
            float(np.hypot(self.left_u_mm, self.right_u_mm)) / 2,
        )


def pair_blades(
    left: Sequence[BladeStop], right: Sequence[BladeStop], position_u_mm: float, gap_u_mm: float
) -> tuple[BladePair, ...]:
    """Match the blades felt on both rails, in the left rail's order; repeats are averaged."""
    pairs: list[BladePair] = []
    for stop in left:
        if any(abs(pair.gap_mm - stop.gap_mm) <= SAME_BLADE_MM for pair in pairs):
            continue
        sides = [
            [other for other in rail if abs(other.gap_mm - stop.gap_mm) <= SAME_BLADE_MM]
            for rail in (left, right)
        ]
        if not sides[1]:
            continue
        means = [_mean_position(side, position_u_mm) for side in sides]
        blade_u = max(gap_u_mm if s.gap_u_mm is None else s.gap_u_mm for s in sides[0] + sides[1])
        pairs.append(BladePair(stop.gap_mm, blade_u, *means[0], *means[1]))
    return tuple(pairs)


def _mean_position(stops: Sequence[BladeStop], position_u_mm: float) -> tuple[float, float]:
    spreads = [position_u_mm if s.position_u_mm is None else s.position_u_mm for s in stops]
    mean = sum(stop.position_mm for stop in stops) / len(stops)
    return mean, float(np.hypot.reduce(spreads)) / len(stops)


def judge_evenness(
    pairs: Sequence[BladePair],
    slope_at: Callable[[float], float | None],
    tolerance_mm: float = 0.5,
) -> tuple[BladeEvenness, ...]:
    """Compare right with left for each blade; `slope_at` gives dh/ds > 0 at a gap, or None.

    A right rail whose blade stops further from the tip stands lower there: positive height.
    Raises ValueError for a tolerance that is not a length.
    """
    if not (np.isfinite(tolerance_mm) and tolerance_mm >= 0):
        raise ValueError("The tolerance for even rails must be a length of zero or more.")
    rows = []
    for pair in pairs:
        difference = pair.right_mm - pair.left_mm
        spread = float(np.hypot(pair.left_u_mm, pair.right_u_mm))
        slope = slope_at(pair.gap_mm)
        um = None if slope is None else 1000.0 * slope
        rows.append(
            BladeEvenness(
                pair.gap_mm,
                difference,
                None if um is None else difference * um,
                None if um is None else spread * um,
                _verdict(abs(difference), K_ONE_SIDED_95 * spread, tolerance_mm),
                spread,
            )
        )
    return tuple(rows)


def _verdict(difference: float, guard: float, tolerance: float) -> str:
    if difference + guard <= tolerance:
        return EVEN
    return UNEVEN if difference - guard > tolerance else CANNOT_TELL
