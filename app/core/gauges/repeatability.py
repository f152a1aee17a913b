"""How well one hand repeats one gauge: several pieces, each read several times.

The pieces differ, and that is no fault of the gauge, so a one-way analysis of variance sets
the spread between pieces aside. What is left within the pieces is the repeatability that
goes into every reading's uncertainty.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, fdtrc


@dataclass(frozen=True, slots=True)
class RepeatabilityStudy:
    """One-way analysis of variance. Readings, means and deviations in mm, squares in mm².

    `repeatability_mm` is the within-piece standard deviation with `within_dof` degrees of
    freedom; it lies between `low_mm` and `high_mm` at the level asked for. `f` and `p` tell
    whether the pieces differ, and are None if every repeat was equal or there is one piece.
    `odd_piece` is the index of a piece repeated much worse than the others, else None.
    """

    means_mm: tuple[float, ...]
    deviations_mm: tuple[float | None, ...]
    between_ss: float
    within_ss: float
    between_dof: int
    within_dof: int
    repeatability_mm: float
    low_mm: float
    high_mm: float
    f: float | None
    p: float | None
    odd_piece: int | None
    note: str


def study_repeatability(
    pieces: Sequence[Sequence[float]], level: float = 0.95
) -> RepeatabilityStudy:
    """Analyse readings in mm, one inner sequence per piece; numbers of repeats may differ.

    s² = Σᵢⱼ(xᵢⱼ − x̄ᵢ)² / Σ(nᵢ − 1); interval s·√(ν/χ²). The between component is
    (MS_b − s²)/n₀ with n₀ = (N − Σnᵢ²/N)/(k − 1), the usual form for unequal numbers.
    Raises ValueError if no piece was read twice or a reading is not finite.
    """
    groups = [np.asarray(piece, dtype=float) for piece in pieces if len(piece) > 0]
    if any(not np.isfinite(group).all() for group in groups):
        raise ValueError("Every reading must be a finite number.")
    sizes = np.array([group.size for group in groups], dtype=float)
    within_dof = int(np.sum(sizes) - sizes.size)
    if within_dof < 1:
        raise ValueError("Read at least one piece twice: repeats show how well a reading repeats.")
    # squares are summed about the means, after a shift, so that 107.868 ± 1e-5 keeps its digits
    origin = float(groups[0][0])
    shifted = [group - origin for group in groups]
    means = np.array([group.mean() for group in shifted])
    squares = np.array([np.sum((g - m) ** 2) for g, m in zip(shifted, means, strict=True)])
    grand = float(np.sum(sizes * means) / np.sum(sizes))
    between_ss, within_ss = float(np.sum(sizes * (means - grand) ** 2)), float(np.sum(squares))
    between_dof = sizes.size - 1
    variance = within_ss / within_dof
    f, p = _f_test(between_ss, between_dof, variance, within_dof)
    tail = (1.0 - level) / 2.0
    return RepeatabilityStudy(
        means_mm=tuple(float(mean) + origin for mean in means),
        deviations_mm=tuple(
            float(np.sqrt(s / (n - 1))) if n > 1 else None
            for s, n in zip(squares, sizes, strict=True)
        ),
        between_ss=between_ss,
        within_ss=within_ss,
        between_dof=between_dof,
        within_dof=within_dof,
        repeatability_mm=float(np.sqrt(variance)),
        low_mm=float(np.sqrt(within_ss / chdtri(within_dof, tail))),
        high_mm=float(np.sqrt(within_ss / chdtri(within_dof, 1.0 - tail))),
        f=f,
        p=p,
        odd_piece=_find_odd_piece(squares, sizes),
        note=_describe(within_ss, within_dof),
    )


def _f_test(
    between_ss: float, between_dof: int, variance: float, within_dof: int
) -> tuple[float | None, float | None]:
    if between_dof < 1 or variance == 0.0:
        return None, None
    f = between_ss / between_dof / variance
    return f, float(fdtrc(between_dof, within_dof, f))


def _find_odd_piece(squares: np.ndarray, sizes: np.ndarray, level: float = 0.01) -> int | None:
    """Find a piece whose variance stands out: F against all others, times the pieces.

    With equal numbers this is Cochran's test in the form of ISO 5725-2, whose 1 % level it
    keeps; the F form holds for unequal numbers too.
    """
    dofs = sizes - 1
    repeated = np.flatnonzero(dofs > 0)
    if repeated.size < 2:
        return None
    worst = int(repeated[np.argmax(squares[repeated] / dofs[repeated])])
    other_dof = float(np.sum(dofs) - dofs[worst])
    other_ss = float(np.sum(squares) - squares[worst])
    if squares[worst] == 0.0:
        return None
    if other_ss <= 0.0:
        # one piece scatters and the rest not at all: rounding to the scale, not a verdict
        return None
    f = float(squares[worst] / dofs[worst]) / (other_ss / other_dof)
    p = float(fdtrc(dofs[worst], other_dof, f)) * repeated.size
    return worst if p < level else None


def _describe(within_ss: float, within_dof: int) -> str:
    if within_ss == 0.0:
        return (
            "Every repeat was the same: the readings repeat within the step of the scale, "
            "so its resolution is all that can be said."
        )
    if within_dof < 10:
        return f"Only {within_dof} degrees of freedom: repeat more before relying on it."
    return ""
