"""The uncertainty budget of one quantity: its parts, their root sum of squares, how sure.

A part is known from few repeats (so with few degrees of freedom) or from a limit such as a
resolution (as good as infinitely many). The Welch–Satterthwaite formula joins them, and the
coverage factor follows from what it gives. Where all parts are as good as known, `uncertainty`
is enough; this is for parts learnt from few repeats.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, inf, isfinite, sqrt

from app.core.regression import student_quantile


@dataclass(frozen=True, slots=True)
class BudgetPart:
    """One contribution: standard uncertainty in mm (k = 1) and its degrees of freedom."""

    name: str
    u_mm: float
    dof: float = inf


@dataclass(frozen=True, slots=True)
class Budget:
    """Parts combined: `u_mm` standard, `expanded_mm` = `coverage_factor` · `u_mm`."""

    parts: tuple[BudgetPart, ...]
    u_mm: float
    dof: float
    coverage_factor: float
    expanded_mm: float


def combine_budget(parts: Sequence[BudgetPart], level: float = 0.95) -> Budget:
    """u² = Σuᵢ²; ν = u⁴ / Σ(uᵢ⁴/νᵢ), truncated (GUM G.4.1); k from Student's t.

    Raises ValueError if there is no part, or one is negative or has no degrees of freedom.
    """
    if not parts:
        raise ValueError("A budget needs at least one part.")
    for part in parts:
        if not (isfinite(part.u_mm) and part.u_mm >= 0):
            raise ValueError(f"{part.name}: an uncertainty must be a finite number, zero or more.")
        if not part.dof > 0:
            raise ValueError(f"{part.name}: without degrees of freedom it says nothing.")
    u = sqrt(sum(part.u_mm**2 for part in parts))
    spread = sum(part.u_mm**4 / part.dof for part in parts)
    dof = u**4 / spread if spread > 0 else inf
    # ν is never below the least νᵢ; a part given as less than 1 is used as 1
    whole = float(max(1, floor(dof + 1e-9))) if isfinite(dof) else inf
    factor = student_quantile(0.5 + level / 2, whole)
    return Budget(tuple(parts), u, dof, factor, factor * u)
