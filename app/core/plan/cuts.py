"""Which cuts turn one rail into another, when material can only be taken away.

Lowering the table by d(s) = a + b·s lowers every gap by d, down to nothing; cutting a rail by r
raises it. So `target = max(0, now − d) + r` with d ≥ 0 and r ≥ 0, and where the target is
lower than the rail is now, only the table can bring it there. The least such table cut is a
linear programme in a and b.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog

Array = npt.NDArray[np.float64]

# a ten-thousandth of a millimetre is neither read nor cut
NEGLIGIBLE_MM = 1e-4


@dataclass(frozen=True, slots=True)
class TableCut:
    """d(s) = `at_tip_mm` + `per_mm` · s, in mm off the plane of the table at s from the tip."""

    at_tip_mm: float
    per_mm: float

    def at(self, position_mm: float) -> float:
        """The cut at one place."""
        return max(0.0, self.at_tip_mm + self.per_mm * position_mm)

    def along(self, stations_mm: Array) -> Array:
        """The cut at stations."""
        return np.maximum(0.0, self.at_tip_mm + self.per_mm * stations_mm)

    @property
    def none(self) -> bool:
        """Whether there is nothing to cut."""
        return self.at_tip_mm == 0.0 and self.per_mm == 0.0


NO_CUT = TableCut(0.0, 0.0)


def find_least_table(
    stations_mm: Array,
    excess_mm: Array,
    break_mm: float,
    table_end_mm: float,
    tilt_limit_mm_per_mm: float = 0.0,
) -> TableCut:
    """Find the least table cut that takes away `excess_mm` (gap now less gap allowed).

    Least is the mean cut over the table, from the break to its end, which for a plane is
    (d(break) + d(end))/2. Subject to d ≥ excess at every station, d ≥ 0 from the tip to the
    table's end, |b| ≤ tilt limit. Solved by `scipy.optimize.linprog` (HiGHS).
    """
    if excess_mm.size == 0 or float(excess_mm.max()) <= NEGLIGIBLE_MM:
        return NO_CUT
    if tilt_limit_mm_per_mm == 0.0:
        return TableCut(float(excess_mm.max()), 0.0)
    ends = np.array([0.0, table_end_mm])
    places = np.concatenate([stations_mm, ends])
    needed = np.concatenate([excess_mm, np.zeros(2)])
    middle = (break_mm + table_end_mm) / 2.0
    answer = linprog(
        c=[1.0, middle],
        A_ub=np.column_stack([-np.ones_like(places), -places]),
        b_ub=-needed,
        bounds=[(None, None), (-tilt_limit_mm_per_mm, tilt_limit_mm_per_mm)],
        method="highs",
    )
    if answer.x is None:  # pragma: no cover - HiGHS has never failed on two unknowns
        return TableCut(float(excess_mm.max()), 0.0)
    # a tilt within its limit always leaves a feasible plane: a large enough a
    a, b = (float(value) for value in answer.x)
    # the solver keeps constraints to 1e-7; lift the plane by what is missing
    a += max(0.0, float(np.max(needed - a - b * places)))
    return TableCut(a, b)


def lower_gap(gap_mm: Array, cut_mm: Array) -> Array:
    """The gap after the table is lowered; rails beyond the new plane are cut flush."""
    return np.maximum(0.0, gap_mm - cut_mm)


def cut_rail(lowered_mm: Array, target_mm: Array) -> Array:
    """What the rail must lose to reach its target; nothing where it is beyond it already."""
    return np.maximum(0.0, target_mm - lowered_mm)


def allow_tail(
    stations_mm: Array, target_mm: Array, facing_length_mm: float, blade_mm: float, break_mm: float
) -> Array:
    """The gap allowed beyond the facing length, where no blade reads.

    The thinnest blade must stop at the facing length; how the last hundredths of a millimetre
    fade into the table is not read, neither now nor ever. There the rail may stay as high as a
    straight line in √h from the blade's stop to the further of the two breaks, `break_mm`, so
    that a guess about what was not read never costs the table anything.
    """
    span = break_mm - facing_length_mm
    if span <= 0.0:
        return target_mm
    share = np.clip((break_mm - stations_mm) / span, 0.0, 1.0)
    tail = np.where(stations_mm >= facing_length_mm, blade_mm * share**2, 0.0)
    return np.maximum(target_mm, tail)
