"""Straight lines, low polynomials and lines through the origin, by weighted least squares.

Two kinds of uncertainty must not be mixed. Where the caller knows the standard uncertainty
of every y, the covariance follows from those alone and the scatter is judged by χ². Where
nobody knows, the scatter about the fit stands in for it, so without degrees of freedom
there is no uncertainty to give and the fields are None.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc, stdtrit

Vector = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PolynomialFit:
    """y = c₀ + c₁x + c₂x² + …; `coefficients` from c₀ upwards, k = 1 uncertainties.

    `covariance` and `uncertainties` are None when neither the caller nor the scatter gives
    them. `chi_square` is the weighted residual sum of squares (plain, if no weights were
    given); `p` its probability under known uncertainties. `t_dof` is the degrees of freedom
    of the covariance: those of the fit, or infinite when the uncertainties were known.
    """

    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...] | None
    residuals: tuple[float, ...]
    chi_square: float
    residual_sd: float | None
    dof: int
    t_dof: float
    p: float | None

    @property
    def uncertainties(self) -> tuple[float, ...] | None:
        """Standard uncertainty of each coefficient."""
        if self.covariance is None:
            return None
        return tuple(float(np.sqrt(row[i])) for i, row in enumerate(self.covariance))


@dataclass(frozen=True, slots=True)
class OriginFit:
    """y = slope · x, without intercept; k = 1 uncertainties, None where nothing gives them."""

    slope: float
    slope_u: float | None
    residuals: tuple[float, ...]
    residual_sd: float | None
    dof: int
    t_dof: float


def fit_polynomial(
    x: Sequence[float], y: Sequence[float], degree: int, y_u: Sequence[float] | None = None
) -> PolynomialFit:
    """Least squares of the given degree, weighted by 1/u² if `y_u` is given.

    Columns are powers of x / max|x| and solved by QR, so large x loses no digits.
    Raises ValueError if lengths differ, a number is not finite, an uncertainty is not
    positive, or there are fewer different x than coefficients.
    """
    xs, ys, us = _check_columns(x, y, y_u)
    size = degree + 1
    if np.unique(xs).size < size:
        raise ValueError(f"{size} different positions are needed; there are {np.unique(xs).size}.")
    scale = float(np.max(np.abs(xs))) or 1.0
    design = np.vander(xs / scale, size, increasing=True)
    q, r = np.linalg.qr(design / us[:, None])
    r_inverse = np.linalg.inv(r)
    scaled = r_inverse @ (q.T @ (ys / us))
    back = scale ** -np.arange(size, dtype=float)
    residuals = ys - design @ scaled
    chi_square = float(np.sum((residuals / us) ** 2))
    dof = xs.size - size
    unscaled = (r_inverse @ r_inverse.T) * np.outer(back, back)
    variance, t_dof = _variance_factor(chi_square, dof, known=y_u is not None)
    covariance = None if variance is None else tuple(tuple(row) for row in unscaled * variance)
    return PolynomialFit(
        coefficients=tuple(float(value) for value in scaled * back),
        covariance=covariance,
        residuals=tuple(float(value) for value in residuals),
        chi_square=chi_square,
        residual_sd=_residual_sd(chi_square, dof),
        dof=dof,
        t_dof=t_dof,
        p=float(gammaincc(dof / 2, chi_square / 2)) if y_u is not None and dof > 0 else None,
    )


def fit_line(
    x: Sequence[float], y: Sequence[float], y_u: Sequence[float] | None = None
) -> PolynomialFit:
    """Straight line y = c₀ + c₁x; see `fit_polynomial` for the errors it raises."""
    return fit_polynomial(x, y, 1, y_u)


def fit_origin(
    x: Sequence[float], y: Sequence[float], y_u: Sequence[float] | None = None
) -> OriginFit:
    """Line through the origin: slope = Σwxy / Σwx², var = s² / Σwx² with n − 1 dof.

    Raises ValueError if lengths differ, a number is not finite, an uncertainty is not
    positive, or every x is zero.
    """
    xs, ys, us = _check_columns(x, y, y_u)
    xw, yw = xs / us, ys / us
    x_squares = float(xw @ xw)
    if x_squares == 0.0:
        raise ValueError("Every x is zero: no line through the origin can be drawn.")
    slope = float(xw @ yw) / x_squares
    residuals = ys - slope * xs
    chi_square = float(np.sum((residuals / us) ** 2))
    dof = xs.size - 1
    variance, t_dof = _variance_factor(chi_square, dof, known=y_u is not None)
    return OriginFit(
        slope=slope,
        slope_u=None if variance is None else float(np.sqrt(variance / x_squares)),
        residuals=tuple(float(value) for value in residuals),
        residual_sd=_residual_sd(chi_square, dof),
        dof=dof,
        t_dof=t_dof,
    )


@dataclass(frozen=True, slots=True)
class Explained:
    """What a few movements explain of correlated differences.

    `chi_square` is that of the part explained, with `dof` = the rank of the design; each
    coefficient with its standard uncertainty.
    """

    coefficients: tuple[float, ...]
    uncertainties: tuple[float, ...]
    chi_square: float
    dof: int


def explain_difference(design: Vector, values: Vector, covariance: Vector) -> Explained:
    """Generalised least squares: β = (XᵀV⁻¹X)⁻¹XᵀV⁻¹d, χ² = βᵀ(XᵀV⁻¹X)β.

    Under d ~ N(0, V) that χ² has as many degrees of freedom as the design has rank. Raises
    numpy's LinAlgError for a covariance that is none.
    """
    half = np.linalg.cholesky(covariance)
    columns, whitened = np.linalg.solve(half, design), np.linalg.solve(half, values)
    u, sizes, vt = np.linalg.svd(columns, full_matrices=False)
    kept = sizes > 1e-9 * sizes.max()
    parts = u[:, kept].T @ whitened
    back = vt[kept].T / sizes[kept]
    return Explained(
        tuple(float(coefficient) for coefficient in back @ parts),
        tuple(float(value) for value in np.sqrt(np.sum(back**2, axis=1))),
        float(parts @ parts),
        int(kept.sum()),
    )


def student_quantile(probability: float, dof: float) -> float:
    """Student's t for a one-sided probability; infinite `dof` gives the normal's."""
    # stdtrit answers nan for an infinite dof; at 1e10 it is the normal's to all digits
    return float(stdtrit(min(dof, 1e10), probability))


def _check_columns(
    x: Sequence[float], y: Sequence[float], y_u: Sequence[float] | None
) -> tuple[Vector, Vector, Vector]:
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    us = np.ones_like(ys) if y_u is None else np.asarray(y_u, dtype=float)
    if not xs.size == ys.size == us.size:
        raise ValueError("The columns are not equally long.")
    if xs.size == 0:
        raise ValueError("There are no readings.")
    if not (np.isfinite(xs).all() and np.isfinite(ys).all() and np.isfinite(us).all()):
        raise ValueError("Every reading and uncertainty must be a finite number.")
    if not (us > 0).all():
        raise ValueError("An uncertainty must be more than zero.")
    return xs, ys, us


def _variance_factor(chi_square: float, dof: int, *, known: bool) -> tuple[float | None, float]:
    """Choose the factor on (XᵀWX)⁻¹ and the degrees of freedom that go with it."""
    if known:
        return 1.0, float("inf")
    return (chi_square / dof if dof > 0 else None), float(dof)


def _residual_sd(chi_square: float, dof: int) -> float | None:
    return float(np.sqrt(chi_square / dof)) if dof > 0 else None
