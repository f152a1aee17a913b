"""The six plain curves a facing may follow, one row of a table each.

`s` is the distance from the tip along the table, `h` the gap, `u = b − s` the distance back to
the break point `b`; all in mm. Near the break every curve is a parabola, `h ≈ (u/q)²`, so `√h`
against `s` is nearly a straight line. Inside, each curve is told by parameters in which a
least-squares fit is nearly linear (`families.py`). Outside, people read those they know:
radius, half axes, where the straight begins.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from app.core.facing.families import CONIC, EASING, JOINED, Family, Flags, find_join
from app.core.facing.families import Array as Array


@dataclass(frozen=True, slots=True)
class Curve:
    """One plain curve: its names, its formula, and how people's parameters become inner ones.

    `to_inner` of the named parameters gives four inner ones, b first; `to_outer(inner, values, by)`
    writes the way back into values (free, …) and its derivatives by the inner ones into the
    zeros of (free, free, …). `real` tells which inner values belong to this curve (an ellipse
    needs m > 0); `unreal` says in words what it means when the readings ask for others.
    `starts` are the shapes a fit is started from, as `Family.begin` takes them: the best of each
    group is followed to its end.
    """

    key: str
    label: str
    formula: str
    parameter_names: tuple[str, ...]
    family: Family
    starts: tuple[tuple[tuple[float, float], ...], ...]
    to_inner: Callable[[Sequence[Array]], Sequence[Array]]
    to_outer: Callable[[Array, Array, Array], None]
    real: Callable[[Array], Flags]
    unreal: str

    @property
    def free(self) -> int:
        """How many parameters the curve has."""
        return len(self.parameter_names)

    def inner(self, parameters: Mapping[str, float]) -> Array:
        """Give the inner parameters (4, 1) of the named ones; raise ValueError in words."""
        values = []
        for name in self.parameter_names:
            if name not in parameters:
                raise ValueError(f"The {self.label} needs “{name}”.")
            value = float(parameters[name])
            if not np.isfinite(value):
                raise ValueError(f"“{name}” of the {self.label} must be a finite number.")
            values.append(np.asarray(value))
        with np.errstate(all="ignore"):
            inner = np.array([[float(x)] for x in self.to_inner(values)])
            known = bool(np.isfinite(inner).all() and inner[0, 0] > 0 and inner[1, 0] > 0)
            if not (known and bool(self.real(inner)[0])):
                raise ValueError(f"No {self.label} has these parameters.")
        return inner

    def gap_at(self, parameters: Mapping[str, float], position_mm: npt.ArrayLike) -> Array:
        """Give the gap at positions from the tip; zero beyond the break.

        Raises ValueError where the curve ends before the position (an arc is no longer than
        its radius).
        """
        inner = self.inner(parameters)
        s = np.asarray(position_mm, dtype=float)
        u = np.maximum(inner[0, 0] - s, 0.0).reshape(1, -1)
        with np.errstate(all="ignore"):
            prepared = self.family.prepare(inner)
            gap = self.family.gap(prepared, u)
            known = self.family.rises(prepared, u)
        if not (np.isfinite(gap).all() and known.all()):
            raise ValueError(f"The {self.label} ends before this position.")
        return np.asarray(np.where(u > 0.0, gap, 0.0).reshape(s.shape))

    def position_of(self, parameters: Mapping[str, float], gap_mm: npt.ArrayLike) -> Array:
        """Give the position at which the gap is found; raise ValueError where it never is."""
        u, _ = self._reach(parameters, gap_mm)
        return np.asarray(float(parameters["break_mm"]) - u)

    def slope_of(self, parameters: Mapping[str, float], gap_mm: npt.ArrayLike) -> Array:
        """Give how steeply the gap opens toward the tip, dh/du, where it has this size."""
        _, slope = self._reach(parameters, gap_mm)
        with np.errstate(all="ignore"):
            return np.asarray(1.0 / slope)

    def _reach(self, parameters: Mapping[str, float], gap_mm: npt.ArrayLike) -> tuple[Array, Array]:
        inner = self.inner(parameters)
        h = np.asarray(gap_mm, dtype=float)
        if not (np.isfinite(h).all() and (h >= 0.0).all()):
            raise ValueError("A gap must be a number of zero or more.")
        with np.errstate(all="ignore"):
            by = np.zeros((3, 1, h.size))
            prepared = self.family.prepare(inner)
            u, slope = self.family.reach(prepared, np.maximum(h.reshape(1, -1), 1e-300), by)
        if not (np.isfinite(u).all() and (slope > 0.0).all()):
            raise ValueError(f"The {self.label} never opens to this gap.")
        return np.where(h > 0.0, u.reshape(h.shape), 0.0), slope.reshape(h.shape)


def _outer_arc(inner: Array, values: Array, by: Array) -> None:
    b, q, _, _ = inner
    values[0], values[1] = b, 0.5 * q * q
    by[0, 0], by[1, 1] = 1.0, q


def _outer_parabola(inner: Array, values: Array, by: Array) -> None:
    b, q, _, _ = inner
    values[0], values[1] = b, 1.0 / (q * q)
    by[0, 0], by[1, 1] = 1.0, -2.0 / q**3


def _outer_ellipse(inner: Array, values: Array, by: Array) -> None:
    b, q, m, _ = inner
    half_height = 0.5 * q * q / m
    half_length = half_height * np.sqrt(m)
    values[0], values[1], values[2] = b, half_length, half_height
    by[0, 0] = 1.0
    by[1, 1], by[1, 2] = 2.0 * half_length / q, -0.5 * half_length / m
    by[2, 1], by[2, 2] = 2.0 * half_height / q, -half_height / m


def _outer_easing(inner: Array, values: Array, by: Array) -> None:
    b, a, c, _ = inner
    values[0], values[1], values[2] = b, 2.0 * a, 6.0 * c
    by[0, 0], by[1, 1], by[2, 2] = 1.0, 2.0, 6.0


def _outer_straight_tip(inner: Array, values: Array, by: Array) -> None:
    b, q, _, _ = inner
    values[0], values[1] = b, 0.5 * q * q
    by[0, 0], by[1, 1] = 1.0, q
    values[2], by[2, 0], by[2, 1], by[2, 2] = find_join(inner)


def _outer_two_arcs(inner: Array, values: Array, by: Array) -> None:
    b, q, _, bend = inner
    radius = 0.5 * q * q
    values[0], values[1], values[2] = b, radius, radius / bend
    by[0, 0], by[1, 1] = 1.0, q
    by[2, 1], by[2, 3] = q / bend, -radius / (bend * bend)
    values[3], by[3, 0], by[3, 1], by[3, 2] = find_join(inner)


def _root_gap_of_arc(b: Array, radius: Array, s: Array) -> Array:
    """√ of the gap of an arc at s, without cancellation: h = u²/(R + √(R² − u²))."""
    u = b - s
    return np.asarray(np.where(u > 0, u, np.nan) / np.sqrt(radius + np.sqrt(radius**2 - u * u)))


def _always(inner: Array) -> Flags:
    return np.ones(inner.shape[1:], dtype=bool)


def _is_ellipse(inner: Array) -> Flags:
    return np.asarray(inner[2] > 0.0)


def _joins_on_the_facing(inner: Array) -> Flags:
    return np.asarray((inner[2] > 0.0) & (find_join(inner)[0] >= -1e-9))


def _bends_at_join(inner: Array) -> Flags:
    return np.asarray(_joins_on_the_facing(inner) & (inner[3] > 0.0))


_ZERO, _ONE = np.asarray(0.0), np.asarray(1.0)
_ALONG = (0.08, 0.17, 0.26, 0.35, 0.44, 0.53, 0.62, 0.71, 0.8, 0.89)  # joins between readings
_BENDS = (0.1, 0.3, 0.6, 1.5, 2.5, 4.0, 8.0)

CURVES: Mapping[str, Curve] = MappingProxyType({
    curve.key: curve
    for curve in (
        Curve(
            "arc", "circular arc (radial)", "h = R − √(R² − u²)",
            ("break_mm", "radius_mm"), CONIC, (((1.0, 0.0),),),
            lambda p: (p[0], np.sqrt(2 * p[1]), _ONE, _ZERO), _outer_arc,
            _always, "The readings don't bend the way an arc does.",
        ),
        Curve(
            "parabola", "parabola", "h = c·u²",
            ("break_mm", "coefficient_per_mm"), CONIC, (((0.0, 0.0),),),
            lambda p: (p[0], 1 / np.sqrt(p[1]), _ZERO, _ZERO), _outer_parabola,
            _always, "The readings don't bend the way a parabola does.",
        ),
        Curve(
            "ellipse", "ellipse", "h = B·(1 − √(1 − (u/A)²))",
            ("break_mm", "half_length_mm", "half_height_mm"), CONIC, (((0.0, 0.0),),),
            lambda p: (p[0], p[1] * np.sqrt(2 / p[2]), (p[1] / p[2]) ** 2, _ZERO), _outer_ellipse,
            _is_ellipse, "The readings flatten toward the tip, which no ellipse does.",
        ),
        Curve(
            "straight_tip", "arc with a straight tip",
            "h = R − √(R² − u²) up to a point, then its tangent",
            ("break_mm", "radius_mm", "straight_from_mm"), JOINED,
            (tuple((along, 0.0) for along in _ALONG),),
            lambda p: (p[0], np.sqrt(2 * p[1]), _root_gap_of_arc(*p), _ZERO), _outer_straight_tip,
            _joins_on_the_facing,
            "A straight part would not fit the readings better than the arc alone.",
        ),
        Curve(
            "easing", "curvature that changes evenly", "h = u²·κ/2 + u³·κ′/6",
            ("break_mm", "curvature_per_mm", "curvature_rate_per_mm2"), EASING,
            (((-0.25, 0.0), (0.0, 0.0), (0.7, 0.0), (3.0, 0.0), (15.0, 0.0)),),
            lambda p: (p[0], p[1] / 2, p[2] / 6, _ZERO), _outer_easing,
            _always, "The readings ask for a curve that dips on its way from break to tip.",
        ),
        Curve(
            "two_arcs", "two arcs, one tangent",
            "h = R₁ − √(R₁² − u²) up to a point, then an arc of R₂ with the same tangent",
            ("break_mm", "radius_mm", "tip_radius_mm", "join_mm"), JOINED,
            tuple(
                tuple((along, bend) for along in part for bend in _BENDS)
                for part in (_ALONG[:3], _ALONG[3:6], _ALONG[6:])
            ),
            lambda p: (p[0], np.sqrt(2 * p[1]), _root_gap_of_arc(p[0], p[1], p[3]), p[1] / p[2]),
            _outer_two_arcs,
            _bends_at_join, "A second arc would not fit the readings better than one alone.",
        ),
    )
})  # fmt: skip


def find_curve(key: str) -> Curve:
    """Give one row of the table; raise ValueError in words for an unknown key."""
    if key not in CURVES:
        raise ValueError(f"There is no curve “{key}”. Choose from {', '.join(CURVES)}.")
    return CURVES[key]
