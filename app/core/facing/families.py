"""The mathematics of the six curves, in three families of at most four inner parameters.

`u = b − s` is the distance from the break `b`, `h` the gap, in mm:

    conic   u² = q²h − m h²          parabola m = 0, arc m = 1 (q² = 2R), ellipse m > 0
    joined  an arc (q² = 2R) up to the gap w², then one of `bend` times its curvature (0: straight)
    easing  h = a u² + c u³          curvature changes evenly

Differences of nearly equal numbers (1 − cos, R − √(R² − u²)) are written as quotients. `inner`
parameters are (4, N); gaps and distances are (n, N) or broadcast to it. Nothing here raises:
outside a curve's reach the numbers are nan or the flags False.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

SHORTEST_MM = 1e-3  # no facing has its break nearer the tip than this

Prepared = tuple[Array, ...]


@dataclass(frozen=True, slots=True)
class Family:
    """What curves of one kind share.

    - `prepare(inner)` gives what the next four need of the inner parameters.
    - `reach(prepared, gap, by)` gives the distance u at each gap and its slope du/dh, and writes
      its derivatives by the parameters after b into `by`, (3, n, N), which must hold zeros.
    - `gap(prepared, u)` is its inverse for u ≥ 0.
    - `rises(prepared, u)`: whether the curve reaches u, rising all the way from the break.
    - `allowed(prepared, largest_gap)`: whether it rises to the tip and holds the largest gap.
    - `begin(low, high, first, second)`: shapes to start from, for readings whose √h lie between
      low and high; `straighten(root, *shapes)` gives what u is q times of, nearly, for √h;
      `settle(q, *shapes)` turns these into the inner ones after b.
    """

    prepare: Callable[[Array], Prepared]
    reach: Callable[[Prepared, Array, Array], tuple[Array, Array]]
    gap: Callable[[Prepared, Array], Array]
    rises: Callable[[Prepared, Array], Flags]
    allowed: Callable[[Prepared, Array], Flags]
    begin: Callable[[Array, Array, Array, Array], tuple[Array, Array]]
    straighten: Callable[[Array, Array, Array], Array]
    settle: Callable[[Array, Array, Array], tuple[Array, Array, Array]]


def _prepare_conic(inner: Array) -> Prepared:
    b, q, m, _ = inner
    q2 = q * q
    return b, q, m, q2, q2 * q2, 4.0 * m


def _reach_conic(prepared: Prepared, gap: Array, by: Array) -> tuple[Array, Array]:
    _, q, m, q2, _, _ = prepared
    mh = m * gap
    u = np.sqrt(gap * (q2 - mh))
    over = 0.5 / u
    half = gap * over
    by[0] = (2.0 * q) * half
    by[1] = -gap * half
    return u, (q2 - 2.0 * mh) * over


def _gap_conic(prepared: Prepared, u: Array) -> Array:
    _, _, _, q2, q4, m4 = prepared
    u2 = u * u
    return np.asarray(2.0 * u2 / (q2 + np.sqrt(q4 - m4 * u2)))


def _rises_conic(prepared: Prepared, u: Array) -> Flags:
    _, _, _, _, q4, m4 = prepared
    return np.asarray(q4 > m4 * u * u)


def _allowed_conic(prepared: Prepared, largest_gap: Array) -> Flags:
    b, q, m, q2, _, _ = prepared
    holds = q2 > 2.0 * m * largest_gap
    return np.asarray((b > SHORTEST_MM) & (q > 0.0) & holds & _rises_conic(prepared, b))


def _as_given(low: Array, high: Array, first: Array, second: Array) -> tuple[Array, Array]:
    return first + 0.0 * low, second + 0.0 * high


def _already_straight(root: Array, first: Array, second: Array) -> Array:
    return root + 0.0 * (first + second)


def _keep(q: Array, first: Array, second: Array) -> tuple[Array, Array, Array]:
    return q, first, second


def _prepare_joined(inner: Array) -> Prepared:
    """Add where the arcs join and the tangent there (cosine, sine); both arcs' curvatures."""
    b, q, w, bend = inner
    q2 = q * q
    w2 = w * w
    before = 2.0 / q2
    fallen = before * w2
    cos_join = 1.0 - fallen
    sin_join = np.sqrt(fallen * (1.0 + cos_join))
    return b, q, w, bend, q2, w2, cos_join, sin_join, sin_join / before, before * bend, before


def _reach_joined(prepared: Prepared, gap: Array, by: Array) -> tuple[Array, Array]:
    _, q, w, bend, q2, w2, cos_join, sin_join, _, curvature, before = prepared
    first = np.minimum(gap, w2)  # of the gap, what the first arc gives, and what the second
    rise = gap - first
    fallen = before * first + curvature * rise  # 1 − the cosine of the tangent's angle
    sin_here = np.sqrt(fallen * (2.0 - fallen))
    cos_here = 1.0 - fallen
    slope = cos_here / sin_here
    x = rise * (cos_join + cos_here) / (sin_here + sin_join)
    u = np.sqrt(first * (q2 - first)) + x
    # at a fixed gap du = ∂u − (du/dh)·∂h along the curve, for its angle and curvature
    by_w = (x * cos_join + rise * sin_join) / sin_here
    by_w *= (bend - 1.0) * (2.0 * before) * w / sin_join
    by[1] = by_w
    by[2] = (x * x + rise * rise) / sin_here * (-0.5 * before)
    # u is homogeneous of degree 1 in gap, q² and w² (Euler): that gives the third derivative
    by[0] = (2.0 * (u - gap * slope) - w * by_w) / q
    return u, slope


def _gap_joined(prepared: Prepared, u: Array) -> Array:
    _, _, _, _, q2, w2, cos_join, sin_join, join, curvature, _ = prepared
    x = np.maximum(u - join, 0.0)
    sin_here = sin_join + curvature * x
    rise = x * (sin_join + sin_here) / (cos_join + np.sqrt(1.0 - sin_here * sin_here))
    arc2 = np.minimum(u, join) ** 2
    arc = 2.0 * arc2 / (q2 + np.sqrt(q2 * q2 - 4.0 * arc2))
    return np.asarray(np.where(x > 0.0, w2 + rise, arc))


def _rises_joined(prepared: Prepared, u: Array) -> Flags:
    _, _, _, _, _, _, cos_join, sin_join, join, curvature, _ = prepared
    sin_here = sin_join + curvature * np.maximum(u - join, 0.0)
    return np.asarray((cos_join > 0.0) & (sin_here > 0.0) & (sin_here < 1.0))


def _allowed_joined(prepared: Prepared, largest_gap: Array) -> Flags:
    b, q, w, bend, _, w2, cos_join, _, join, curvature, _ = prepared
    holds = cos_join > curvature * np.maximum(largest_gap - w2, 0.0)
    on_facing = (w > SHORTEST_MM) & (join <= b) & (bend >= 0.0)
    return np.asarray((q > 0.0) & on_facing & holds & _rises_joined(prepared, b))


def _begin_joined(low: Array, high: Array, first: Array, second: Array) -> tuple[Array, Array]:
    return low + first * (high - low), second + 0.0 * high


def _straighten_joined(root: Array, w: Array, bend: Array) -> Array:
    rise = np.maximum(root * root - w * w, 0.0)
    return np.asarray(np.minimum(root, w) + rise / (w + np.sqrt(w * w + bend * rise)))


def find_join(inner: Array) -> tuple[Array, Array, Array, Array]:
    """Give where the first arc ends, as s, and its derivatives by b, q and w."""
    b, q, w, _ = inner
    root = np.sqrt(q * q - w * w)
    return b - w * root, np.ones_like(b), -w * q / root, (2.0 * w * w - q * q) / root


_CUBIC = 1.5 * np.sqrt(3.0)


def _cubic_root(z: Array) -> Array:
    """Solve p³ − p = z near 1, by the trigonometric solution; nan below its turning."""
    c = _CUBIC * z
    return np.asarray(
        (2.0 / np.sqrt(3.0))
        * np.where(
            c < 1.0,
            np.cos(np.arccos(np.minimum(c, 1.0)) / 3.0),
            np.cosh(np.arccosh(np.maximum(c, 1.0)) / 3.0),
        )
    )


def _prepare_easing(inner: Array) -> Prepared:
    b, a, c, _ = inner
    return b, a, c


def _reach_easing(prepared: Prepared, gap: Array, by: Array) -> tuple[Array, Array]:
    _, a, c = prepared
    v = np.sqrt(gap / a)
    u = v / _cubic_root((c / a) * v)  # u = v/p turns a u² + c u³ = h into p³ − p = (c/a) v
    slope = 1.0 / (u * (2.0 * a + (3.0 * c) * u))
    by[0] = -u * u * slope
    by[1] = u * by[0]
    return u, slope


def _gap_easing(prepared: Prepared, u: Array) -> Array:
    _, a, c = prepared
    return np.asarray(u * u * (a + c * u))


def _rises_easing(prepared: Prepared, u: Array) -> Flags:
    _, a, c = prepared
    return np.asarray((a > 0.0) & (2.0 * a + 3.0 * c * u > 0.0))


def _allowed_easing(prepared: Prepared, largest_gap: Array) -> Flags:
    b, a, c = prepared
    turns = _CUBIC * (c / a) * np.sqrt(largest_gap / a)
    return np.asarray((b > SHORTEST_MM) & _rises_easing(prepared, b) & (turns > -1.0))


def _begin_easing(low: Array, high: Array, first: Array, second: Array) -> tuple[Array, Array]:
    return first / high, second + 0.0 * low


def _straighten_easing(root: Array, first: Array, second: Array) -> Array:
    return root / _cubic_root(first * root) + 0.0 * second


def _settle_easing(q: Array, first: Array, second: Array) -> tuple[Array, Array, Array]:
    return 1.0 / (q * q), first / q**3, second


CONIC = Family(
    _prepare_conic, _reach_conic, _gap_conic, _rises_conic, _allowed_conic,
    _as_given, _already_straight, _keep,
)  # fmt: skip
JOINED = Family(
    _prepare_joined, _reach_joined, _gap_joined, _rises_joined, _allowed_joined,
    _begin_joined, _straighten_joined, _keep,
)  # fmt: skip
EASING = Family(
    _prepare_easing, _reach_easing, _gap_easing, _rises_easing, _allowed_easing,
    _begin_easing, _straighten_easing, _settle_easing,
)  # fmt: skip
FAMILIES = (CONIC, JOINED, EASING)
