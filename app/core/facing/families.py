"""The mathematics of the six curves, in three families of at most three shape parameters.

`u = b − s` is the distance from the break `b`, `h` the gap, in mm:

    conic   u² = q²h − m h²          parabola m = 0, arc m = 1 (q² = 2R), ellipse m > 0
    joined  an arc (q² = 2R) up to the gap w², then one of `bend` times its curvature (0: straight)
    easing  h = a u² + c u³          curvature changes evenly

Differences of nearly equal numbers (1 − cos, R − √(R² − u²)) are written as quotients. A shape is
the internal parameters after b: (q, m), (q, w, bend) or (a, c).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import acos, acosh, cos, cosh, sqrt

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Shape = Sequence[float]
Reach = tuple[float, float, tuple[float, ...]]


@dataclass(frozen=True, slots=True)
class Family:
    """What curves of one kind share.

    - `holds(shape)`: whether these are numbers the next two can work with.
    - `reach(shape, gap)` gives, for one gap above zero, the distance u, its slope du/dh, and its
      derivatives by each shape parameter. Where the curve never opens so far the slope is not
      above zero, or it raises ValueError or ArithmeticError.
    - `gap(shape, u)` is its inverse for u ≥ 0, (n,) or one; nan where the curve does not rise all
      the way there.
    """

    holds: Callable[[Shape], bool]
    reach: Callable[[Shape, float], Reach]
    gap: Callable[[Shape, npt.ArrayLike], Array]


def _reach_conic(shape: Shape, gap: float) -> Reach:
    q, m = shape
    mh = m * gap
    u = sqrt(gap * (q * q - mh))
    half = 0.5 * gap / u
    return u, 0.5 * (q * q - 2.0 * mh) / u, (2.0 * q * half, -gap * half)


def _gap_conic(shape: Shape, u: npt.ArrayLike) -> Array:
    q, m = shape
    q2, u2 = q * q, np.square(u)
    return np.asarray(2.0 * u2 / (q2 + np.sqrt(q2 * q2 - 4.0 * m * u2)))


def _holds_joined(shape: Shape) -> bool:
    """Whether the arcs join above the table, before the first stands upright."""
    q, w, bend = shape
    return q > 0.0 and w > 0.0 and 2.0 * w * w < q * q and bend >= 0.0


def _join(q: float, w: float) -> tuple[float, float]:
    """The cosine and the sine of the tangent's angle where the arcs join."""
    fallen = 2.0 * w * w / (q * q)
    return 1.0 - fallen, sqrt(fallen * (2.0 - fallen))


def _reach_joined(shape: Shape, gap: float) -> Reach:
    q, w, bend = shape
    rise = gap - w * w
    if rise <= 0.0:
        u, slope, (by_q, _) = _reach_conic((q, 1.0), gap)
        return u, slope, (by_q, 0.0, 0.0)
    before = 2.0 / (q * q)  # the first arc's curvature
    cos_join, sin_join = _join(q, w)
    cos_here = cos_join - before * bend * rise
    sin_here = sqrt(1.0 - cos_here * cos_here)
    slope = cos_here / sin_here
    x = rise * (cos_join + cos_here) / (sin_here + sin_join)
    u = sin_join / before + x
    # at a fixed gap du = ∂u − (du/dh)·∂h along the curve, for its angle and curvature
    by_w = (x * cos_join + rise * sin_join) / sin_here
    by_w *= (bend - 1.0) * 2.0 * before * w / sin_join
    by_bend = -0.5 * before * (x * x + rise * rise) / sin_here
    # u is homogeneous of degree 1 in gap, q² and w² (Euler): that gives the third derivative
    by_q = (2.0 * (u - gap * slope) - w * by_w) / q
    return u, slope, (by_q, by_w, by_bend)


def _gap_joined(shape: Shape, u: npt.ArrayLike) -> Array:
    q, w, bend = shape
    cos_join, sin_join = _join(q, w)
    join = 0.5 * q * q * sin_join
    x = np.maximum(np.subtract(u, join), 0.0)
    sin_here = sin_join + (2.0 * bend / (q * q)) * x
    rise = x * (sin_join + sin_here) / (cos_join + np.sqrt(1.0 - sin_here * sin_here))
    return np.asarray(_gap_conic((q, 1.0), np.minimum(u, join)) + rise)


_CUBIC = 1.5 * sqrt(3.0)


def _reach_easing(shape: Shape, gap: float) -> Reach:
    a, c = shape
    # u = v/p turns a u² + c u³ = h into p³ − p = (c/a) v, solved by the trigonometric formula
    v = sqrt(gap / a)
    z = _CUBIC * (c / a) * v
    p = 2.0 / sqrt(3.0) * (cos(acos(z) / 3.0) if z < 1.0 else cosh(acosh(z) / 3.0))
    u = v / p
    slope = 1.0 / (u * (2.0 * a + 3.0 * c * u))
    by_a = -u * u * slope
    return u, slope, (by_a, u * by_a)


def _gap_easing(shape: Shape, u: npt.ArrayLike) -> Array:
    a, c = shape
    u = np.asarray(u)
    return np.where(2.0 * a + 3.0 * c * u > 0.0, u * u * (a + c * u), np.nan)


CONIC = Family(lambda shape: shape[0] > 0.0, _reach_conic, _gap_conic)
JOINED = Family(_holds_joined, _reach_joined, _gap_joined)
EASING = Family(lambda shape: shape[0] > 0.0, _reach_easing, _gap_easing)


def straighten_joined(root: Array, w: Array, bend: Array) -> Array:
    """What u is q times of, nearly, for √h: joined curves start from a line in it."""
    rise = np.maximum(root * root - w * w, 0.0)
    return np.asarray(np.minimum(root, w) + rise / (w + np.sqrt(w * w + bend * rise)))
