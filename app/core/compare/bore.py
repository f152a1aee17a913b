"""The bore at several depths: whether it is a cylinder or a cone, and how steep.

Depth is counted from the exit, the open end of the shank, inwards. Diameter against depth is
fitted by a straight line. The taper is told as the trade tells it, as a positive number, and
the direction in words, since a bore may narrow or widen on the way in.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import atan, degrees, isfinite

import numpy as np

from app.core.values.regression import PolynomialFit, fit_line, fit_polynomial, student_quantile


@dataclass(frozen=True, slots=True)
class BorePoint:
    """One diameter at one depth from the exit, with its standard uncertainty if known."""

    depth_mm: float
    diameter_mm: float
    u_mm: float | None = None


@dataclass(frozen=True, slots=True)
class BoreTaper:
    """What the diameters say. Lengths in mm, uncertainties standard (k = 1), None if unknown.

    `taper_per_mm` is the change of diameter per length, never negative. It, the angle and
    `direction` are None while there is only one depth; `exit_diameter_mm` too, unless
    that depth is the exit. `uncertainties` has the names of the fields it belongs to.
    """

    taper_per_mm: float | None
    included_angle_deg: float | None
    exit_diameter_mm: float | None
    mean_diameter_mm: float
    direction: str | None
    uncertainties: Mapping[str, float | None]
    residuals_mm: tuple[float, ...]
    dof: int
    p: float | None
    note: str


def fit_bore(points: Sequence[BorePoint], level: float = 0.95) -> BoreTaper:
    """Diameter = exit diameter + slope · depth, by least squares; angle = 2·atan(|slope|/2).

    `direction` is "narrows inwards" or "widens inwards" if the slope is surer than `level`,
    or if nothing says how sure it is; else "cannot tell from a cylinder".
    Raises ValueError, in words, for no points, impossible numbers, or uncertainties given
    for some points only.
    """
    _check_points(points)
    depths = [point.depth_mm for point in points]
    diameters = [point.diameter_mm for point in points]
    us = [point.u_mm for point in points if point.u_mm is not None] or None
    if len(set(depths)) == 1:
        return _describe_one_depth(points, fit_polynomial(depths, diameters, 0, us))
    line = fit_line(depths, diameters, us)
    exit_diameter, slope = line.coefficients
    exit_u, slope_u = line.uncertainties or (None, None)
    if exit_diameter <= 0:
        raise ValueError("These diameters run to nothing before the exit: check the depths.")
    direction = _name_direction(line, level)
    return BoreTaper(
        taper_per_mm=abs(slope),
        included_angle_deg=degrees(2.0 * atan(abs(slope) / 2.0)),
        exit_diameter_mm=exit_diameter,
        mean_diameter_mm=float(np.mean(diameters)),
        direction=direction,
        uncertainties={
            "taper_per_mm": slope_u,
            "included_angle_deg": (
                None if slope_u is None else degrees(slope_u / (1.0 + slope**2 / 4.0))
            ),
            "exit_diameter_mm": exit_u,
        },
        residuals_mm=line.residuals,
        dof=line.dof,
        p=line.p,
        note="" if line.dof else "Two depths always lie on a line: a third would check it.",
    )


def _describe_one_depth(points: Sequence[BorePoint], fit: PolynomialFit) -> BoreTaper:
    depth, (mean,) = points[0].depth_mm, fit.coefficients
    at_exit = depth == 0.0
    exit_u = None if not at_exit or fit.uncertainties is None else fit.uncertainties[0]
    return BoreTaper(
        taper_per_mm=None,
        included_angle_deg=None,
        exit_diameter_mm=mean if at_exit else None,
        mean_diameter_mm=mean,
        direction=None,
        uncertainties={
            "taper_per_mm": None,
            "included_angle_deg": None,
            "exit_diameter_mm": exit_u,
        },
        residuals_mm=fit.residuals,
        dof=fit.dof,
        p=fit.p,
        note="A diameter only: a second depth is needed before a taper can be told.",
    )


def _name_direction(line: PolynomialFit, level: float) -> str:
    slope = line.coefficients[1]
    sure = 1e-12  # equal diameters are no proof of a cylinder
    if line.uncertainties is not None:
        sure += student_quantile(0.5 + level / 2, line.t_dof) * line.uncertainties[1]
    if abs(slope) <= sure:
        return "cannot tell from a cylinder"
    return "narrows inwards" if slope < 0 else "widens inwards"


def _check_points(points: Sequence[BorePoint]) -> None:
    if not points:
        raise ValueError("Give at least one bore diameter.")
    for number, point in enumerate(points, 1):
        if not (isfinite(point.depth_mm) and point.depth_mm >= 0):
            raise ValueError(f"Bore point {number}: the depth must be zero (the exit) or more.")
        if not (isfinite(point.diameter_mm) and point.diameter_mm > 0):
            raise ValueError(f"Bore point {number}: the diameter must be more than zero.")
        if point.u_mm is not None and not (isfinite(point.u_mm) and point.u_mm > 0):
            raise ValueError(f"Bore point {number}: the uncertainty must be more than zero.")
    if len({point.u_mm is None for point in points}) > 1:
        raise ValueError("Give the uncertainty of every bore diameter, or of none.")
