"""The six plain curves a facing may follow, one row of a table each.

`s` is the distance from the tip along the table, `h` the gap, `u = b − s` the distance back to
the break point `b`; all in mm. Near the break every curve is a parabola, `h ≈ (u/q)²`, so `√h`
against `s` is nearly a straight line. Inside, each curve is therefore told by `b`, `q` and at
most two numbers of shape, in which a least-squares fit is nearly linear:

    conic   u² = q²h − m h²          parabola m = 0, arc m = 1, ellipse m > 0 (half axes A, B)
    joined  an arc up to the gap w², then an arc of `bend` times its curvature (0: straight)
    easing  u²(1 + e u) = q²h        curvature changes evenly

Outside, people read the parameters they know: radius, half axes, where the straight begins.
Differences of nearly equal numbers (1 − cos, R − √(R² − u²)) are written as quotients.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

SMALLEST_MM = 1e-3
SHAPES = 2  # numbers of shape beside b and q; unused ones stay at their fixed value


@dataclass(frozen=True, slots=True)
class Family:
    """The mathematics curves of one kind share. `inner` is (4, N): b, q and two of shape.

    `reach(inner, gap)` gives, for gaps (n, N), the distance u, its slope du/dh and its
    derivatives by q and the two shapes, (3, n, N). `gap(inner, u)` inverts it for u (…, N) ≥ 0.
    `allowed(inner, largest_gap)` tells where the curve exists, rises all the way from the break
    to the tip, and holds the largest gap.
    """

    reach: Callable[[Array, Array], tuple[Array, Array, Array]]
    gap: Callable[[Array, Array], Array]
    allowed: Callable[[Array, Array], Flags]


def _reach_conic(inner: Array, gap: Array) -> tuple[Array, Array, Array]:
    _, q, m, _ = inner
    q2 = q * q
    mh = m * gap
    u = np.sqrt(gap * (q2 - mh))
    over = 0.5 / u
    by = np.zeros((3, *u.shape))
    by[0] = (2.0 * q) * gap * over
    by[1] = -gap * gap * over
    return u, (q2 - 2.0 * mh) * over, by


def _gap_conic(inner: Array, u: Array) -> Array:
    _, q, m, _ = inner
    q2 = q * q
    u2 = u * u
    return np.asarray(2.0 * u2 / (q2 + np.sqrt(q2 * q2 - 4.0 * m * u2)))


def _allowed_conic(inner: Array, largest_gap: Array) -> Flags:
    b, q, m, _ = inner
    q2 = q * q
    return np.asarray(
        (b > SMALLEST_MM) & (q > 0) & (q2 > 2.0 * m * largest_gap) & (q2 * q2 > 4.0 * m * b * b)
    )


def _reach_joined(inner: Array, gap: Array) -> tuple[Array, Array, Array]:
    _, q, w, bend = inner
    q2 = q * q
    curvature = 2.0 * bend / q2  # of the part toward the tip
    cos_join = 1.0 - 2.0 * w * w / q2
    sin_join = 2.0 * w / q2 * np.sqrt(q2 - w * w)
    rise = gap - w * w
    past = rise > 0.0
    cos_here = cos_join - curvature * rise
    sin_here = np.sqrt(sin_join**2 + curvature * rise * (cos_join + cos_here))
    x = rise * (cos_join + cos_here) / (sin_here + sin_join)
    u_arc = np.sqrt(gap * (q2 - gap))
    over = 0.5 / u_arc
    slope = np.where(past, cos_here / sin_here, (q2 - 2.0 * gap) * over)
    u = np.where(past, 0.5 * q2 * sin_join + x, u_arc)
    # at a fixed gap: du = ∂u − cot·∂h along the curve, by radius, angle of the join, curvature
    by_radius = sin_join - slope * (1.0 - cos_join)
    by_angle = (bend - 1.0) * (x * cos_join + rise * sin_join) / sin_here
    by_curvature = -0.5 * (x * x + rise * rise) / sin_here
    angle_by_w = 4.0 * w / (q2 * sin_join)
    by = np.zeros((3, *u.shape))
    by[0] = np.where(
        past,
        by_radius * q - by_angle * angle_by_w * w / q - by_curvature * 2.0 * curvature / q,
        (2.0 * q) * gap * over,
    )
    by[1] = np.where(past, by_angle * angle_by_w, 0.0)
    by[2] = np.where(past, by_curvature * 2.0 / q2, 0.0)
    return u, slope, by


def _gap_joined(inner: Array, u: Array) -> Array:
    _, q, w, bend = inner
    q2 = q * q
    sin_join = 2.0 * w / q2 * np.sqrt(q2 - w * w)
    cos_join = 1.0 - 2.0 * w * w / q2
    x = np.maximum(u - 0.5 * q2 * sin_join, 0.0)
    sin_here = sin_join + 2.0 * bend / q2 * x
    cos_here = np.sqrt(1.0 - sin_here**2)
    tail = w * w + x * (sin_join + sin_here) / (cos_join + cos_here)
    arc = np.minimum(u, 0.5 * q2 * sin_join)
    return np.asarray(
        np.where(x > 0.0, tail, 2.0 * arc**2 / (q2 + np.sqrt(q2 * q2 - 4.0 * arc**2)))
    )


def _allowed_joined(inner: Array, largest_gap: Array) -> Flags:
    b, q, w, bend = inner
    q2 = q * q
    curvature = 2.0 * bend / q2
    cos_join = 1.0 - 2.0 * w * w / q2
    sin_join = 2.0 * w / q2 * np.sqrt(np.maximum(q2 - w * w, 0.0))
    sin_tip = sin_join + curvature * np.maximum(b - 0.5 * q2 * sin_join, 0.0)
    rise = curvature * np.maximum(largest_gap - w * w, 0.0)
    holds = (cos_join - rise > 0.0) & (sin_join**2 + rise * (2.0 * cos_join - rise) > 0.0)
    rises = (sin_tip > 0.0) & (sin_tip < 1.0)
    return np.asarray(
        (b > SMALLEST_MM) & (q > 0) & (w > SMALLEST_MM) & (cos_join > 0.0) & holds & rises
    )


def _reach_easing(inner: Array, gap: Array) -> tuple[Array, Array, Array]:
    _, q, e, _ = inner
    v = q * np.sqrt(gap)
    # u = v/p turns u²(1 + e u) = v² into p³ − p = e v, whose root near 1 has a closed form
    c = (1.5 * np.sqrt(3.0)) * e * v
    p = np.where(
        c < 1.0,
        np.cos(np.arccos(np.minimum(c, 1.0)) / 3.0),
        np.cosh(np.arccosh(np.maximum(c, 1.0)) / 3.0),
    ) * (2.0 / np.sqrt(3.0))
    u = v / p
    over = 1.0 / (2.0 * u + 3.0 * e * u * u)
    by = np.zeros((3, *u.shape))
    by[0] = 2.0 * q * gap * over
    by[1] = -(u**3) * over
    return u, q * q * over, by


def _gap_easing(inner: Array, u: Array) -> Array:
    _, q, e, _ = inner
    return np.asarray((u / q) ** 2 * (1.0 + e * u))


def _allowed_easing(inner: Array, largest_gap: Array) -> Flags:
    b, q, e, _ = inner
    turning = -2.0 / (3.0 * np.minimum(e, -1e-300))
    return np.asarray(
        (b > SMALLEST_MM)
        & (q > 0)
        & (b < turning)
        & ((e >= 0.0) | (3.0 * q * q * largest_gap < turning * turning))
    )


CONIC = Family(_reach_conic, _gap_conic, _allowed_conic)
JOINED = Family(_reach_joined, _gap_joined, _allowed_joined)
EASING = Family(_reach_easing, _gap_easing, _allowed_easing)
FAMILIES = (CONIC, JOINED, EASING)


@dataclass(frozen=True, slots=True)
class Curve:
    """One plain curve: its names, its formula, and how people's parameters become inner ones.

    `free` counts the parameters; `inner` of the named parameters gives (b, q, two shapes), and
    `outer` the way back with its derivatives: values (free, N) and (free, free, N) by the inner
    ones. `real` tells which inner values belong to this curve (an ellipse needs m > 0).
    `unreal` says in words what it means when the readings ask for another.
    """

    key: str
    label: str
    formula: str
    parameter_names: tuple[str, ...]
    family: Family
    shape: tuple[float, float]
    to_inner: Callable[[Sequence[Array]], Sequence[Array]]
    to_outer: Callable[[Array], tuple[Array, Array]]
    real: Callable[[Array], Flags]
    unreal: str

    @property
    def free(self) -> int:
        """How many parameters the curve has."""
        return len(self.parameter_names)

    def inner(self, parameters: Mapping[str, float]) -> Array:
        """Give the inner parameters, (4,), of the named ones; raise ValueError in words."""
        values = []
        for name in self.parameter_names:
            if name not in parameters:
                raise ValueError(f"The {self.label} needs “{name}”.")
            value = float(parameters[name])
            if not np.isfinite(value):
                raise ValueError(f"“{name}” of the {self.label} must be a finite number.")
            values.append(np.asarray(value))
        with np.errstate(all="ignore"):
            inner = np.array([float(x) for x in self.to_inner(values)])
            column = inner[:, None]
            good = np.isfinite(inner).all() and inner[1] > 0 and inner[0] > 0
            if not (good and bool(self.real(column)[0])):
                raise ValueError(f"No {self.label} has these parameters.")
        return inner

    def gap_at(self, parameters: Mapping[str, float], position_mm: npt.ArrayLike) -> Array:
        """Give the gap at positions from the tip; zero beyond the break.

        Raises ValueError where the curve ends before the position (an arc is no longer than
        its radius).
        """
        inner = self.inner(parameters)
        s = np.asarray(position_mm, dtype=float)
        u = np.maximum(inner[0] - s, 0.0)
        column = np.repeat(inner[:, None], u.size, axis=1)
        with np.errstate(all="ignore"):
            gap = self.family.gap(column, u.ravel()).reshape(s.shape)
            back, _, _ = self.family.reach(column, np.maximum(gap.ravel(), 1e-300)[None, :])
        same = np.isclose(back[0].reshape(s.shape), u, rtol=1e-6, atol=1e-6) | (u == 0.0)
        if not (np.isfinite(gap).all() and same.all()):
            raise ValueError(f"The {self.label} ends before this position.")
        return gap

    def position_of(self, parameters: Mapping[str, float], gap_mm: npt.ArrayLike) -> Array:
        """Give the position at which the gap is found; raise ValueError where it never is."""
        inner = self.inner(parameters)
        h = np.asarray(gap_mm, dtype=float)
        if not (np.isfinite(h).all() and (h >= 0).all()):
            raise ValueError("A gap must be a number of zero or more.")
        column = np.repeat(inner[:, None], h.size, axis=1)
        with np.errstate(all="ignore"):
            u, slope, _ = self.family.reach(column, np.maximum(h.ravel(), 1e-300)[None, :])
        if not (np.isfinite(u).all() and (slope >= 0).all()):
            raise ValueError(f"The {self.label} never opens to this gap.")
        return np.asarray(inner[0] - np.where(h > 0, u[0].reshape(h.shape), 0.0))

    def slope_at_gap(self, parameters: Mapping[str, float], gap_mm: float) -> float:
        """Give how steeply the gap opens toward the tip, dh/du, where it has this size."""
        self.position_of(parameters, gap_mm)
        inner = self.inner(parameters)[:, None]
        with np.errstate(all="ignore"):
            return float(1.0 / self.family.reach(inner, np.full((1, 1), gap_mm))[1][0, 0])


def _outer(
    values: Sequence[Array], derivatives: Sequence[Sequence[Array | float]]
) -> tuple[Array, Array]:
    shape = np.shape(values[0])
    full = [[np.broadcast_to(np.asarray(d, float), shape) for d in row] for row in derivatives]
    return np.array(values), np.array(full)


def _outer_arc(inner: Array) -> tuple[Array, Array]:
    b, q, _, _ = inner
    return _outer((b, q * q / 2), ((1, 0), (0, q)))


def _outer_parabola(inner: Array) -> tuple[Array, Array]:
    b, q, _, _ = inner
    return _outer((b, q**-2), ((1, 0), (0, -2 * q**-3)))


def _outer_ellipse(inner: Array) -> tuple[Array, Array]:
    b, q, m, _ = inner
    a_axis, b_axis = q * q / (2 * np.sqrt(m)), q * q / (2 * m)
    return _outer(
        (b, a_axis, b_axis),
        ((1, 0, 0), (0, 2 * a_axis / q, -a_axis / (2 * m)), (0, 2 * b_axis / q, -b_axis / m)),
    )


def _outer_easing(inner: Array) -> tuple[Array, Array]:
    b, q, e, _ = inner
    kappa, rate = 2 / q**2, 6 * e / q**2
    return _outer(
        (b, kappa, rate), ((1, 0, 0), (0, -2 * kappa / q, 0), (0, -2 * rate / q, 6 / q**2))
    )


def _join(inner: Array) -> tuple[Array, Array, Array]:
    """Where the first arc ends, as s, with the derivatives by q and w."""
    b, q, w, _ = inner
    root = np.sqrt(q * q - w * w)
    return b - w * root, -w * q / root, -(q * q - 2 * w * w) / root


def _outer_straight_tip(inner: Array) -> tuple[Array, Array]:
    b, q, _, _ = inner
    s, by_q, by_w = _join(inner)
    return _outer((b, q * q / 2, s), ((1, 0, 0), (0, q, 0), (1, by_q, by_w)))


def _outer_two_arcs(inner: Array) -> tuple[Array, Array]:
    b, q, _, bend = inner
    s, by_q, by_w = _join(inner)
    radius = q * q / 2
    return _outer(
        (b, radius, radius / bend, s),
        (
            (1, 0, 0, 0),
            (0, q, 0, 0),
            (0, q / bend, 0, -radius / bend**2),
            (1, by_q, by_w, 0),
        ),
    )


def _join_to_w(b: Array, radius: Array, s: Array) -> Array:
    """√ of the gap of an arc at s, without cancellation: u²/(R + √(R² − u²))."""
    u = b - s
    return np.asarray(np.sqrt(u * u / (radius + np.sqrt(radius**2 - u * u))))


def _always(inner: Array) -> Flags:
    return np.ones(inner.shape[1:], dtype=bool)


def _joins_inside(inner: Array) -> Flags:
    return np.asarray((inner[2] > 0) & (_join(inner)[0] >= 0.0) & (inner[3] >= 0.0))


ZERO, ONE = np.asarray(0.0), np.asarray(1.0)

CURVES: dict[str, Curve] = {
    curve.key: curve
    for curve in (
        Curve(
            "arc", "circular arc (radial)", "h = R − √(R² − u²)",
            ("break_mm", "radius_mm"), CONIC, (1.0, 0.0),
            lambda p: (p[0], np.sqrt(2 * p[1]), ONE, ZERO), _outer_arc,
            _always, "The readings bend the other way.",
        ),
        Curve(
            "parabola", "parabola", "h = c·u²",
            ("break_mm", "coefficient_per_mm"), CONIC, (0.0, 0.0),
            lambda p: (p[0], p[1] ** -0.5, ZERO, ZERO), _outer_parabola,
            _always, "The readings bend the other way.",
        ),
        Curve(
            "ellipse", "ellipse", "h = B·(1 − √(1 − (u/A)²))",
            ("break_mm", "half_length_mm", "half_height_mm"), CONIC, (1.0, 0.0),
            lambda p: (p[0], p[1] * np.sqrt(2 / p[2]), (p[1] / p[2]) ** 2, ZERO), _outer_ellipse,
            lambda inner: inner[2] > 0.0,
            "The readings flatten toward the tip, which no ellipse does.",
        ),
        Curve(
            "straight_tip", "arc with a straight tip", "an arc up to a point, then its tangent",
            ("break_mm", "radius_mm", "straight_from_mm"), JOINED, (0.5, 0.0),
            lambda p: (p[0], np.sqrt(2 * p[1]), _join_to_w(*p[:3]), ZERO), _outer_straight_tip,
            _joins_inside, "The readings show no straight part.",
        ),
        Curve(
            "easing", "curvature that changes evenly", "h = u²·κ/2 + u³·κ′/6",
            ("break_mm", "curvature_per_mm", "curvature_rate_per_mm2"), EASING, (0.0, 0.0),
            lambda p: (p[0], np.sqrt(2 / p[1]), p[2] / (3 * p[1]), ZERO), _outer_easing,
            _always, "The readings ask for a curve that would turn back before the tip.",
        ),
        Curve(
            "two_arcs", "two arcs, one tangent",
            "an arc of R₁ from the break, an arc of R₂ to the tip, one tangent where they join",
            ("break_mm", "radius_mm", "tip_radius_mm", "join_mm"), JOINED, (0.5, 1.0),
            lambda p: (p[0], np.sqrt(2 * p[1]), _join_to_w(p[0], p[1], p[3]), p[1] / p[2]),
            _outer_two_arcs,
            lambda inner: _joins_inside(inner) & (inner[3] > 0.0),
            "The readings show no second arc.",
        ),
    )
}  # fmt: skip


def find_curve(key: str) -> Curve:
    """Give one row of the table; raise ValueError in words for an unknown key."""
    if key not in CURVES:
        raise ValueError(f"There is no curve “{key}”. Choose from {', '.join(CURVES)}.")
    return CURVES[key]
