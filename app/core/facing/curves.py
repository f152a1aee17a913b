"""The six plain curves a facing may follow, one row of a table each.

`s` is the distance from the tip along the table, `h` the gap, `u = b − s` the distance back to
the break point `b`; all in mm. Near the break every curve is a parabola, `h ≈ (u/q)²`, so `√h`
against `s` is nearly a straight line. Inside, each curve is told by b and a shape in which a
least-squares fit is nearly linear (`core/facing/families.py`). Reported are the parameters people
know: radius, half axes, where the straight begins.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, sqrt
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from app.core.facing.families import CONIC, EASING, JOINED, Family, Shape
from app.core.facing.families import Array as Array

Reported = tuple[tuple[float, ...], tuple[tuple[float, ...], ...]]


@dataclass(frozen=True, slots=True)
class Curve:
    """One plain curve: its names, and how internal parameters are reported.

    Internal are b and a shape of its family, of which the last ones may be `fixed`. `to_internal`
    makes (b, *shape) of the named parameters; `report` of the free internal ones gives these
    again and their jacobian by the free internal ones. `real(b, shape)` tells which belong to
    this curve (an ellipse needs m > 0); `unreal` says in words what it means when the readings
    ask for others.
    """

    key: str
    label: str
    parameter_names: tuple[str, ...]
    family: Family
    fixed: tuple[float, ...]
    to_internal: Callable[[Sequence[float]], tuple[float, ...]]
    report: Callable[[Sequence[float]], Reported]
    real: Callable[[float, Shape], bool]
    unreal: str

    @property
    def free(self) -> int:
        """How many parameters the curve has."""
        return len(self.parameter_names)

    def holds(self, b: float, shape: Shape) -> bool:
        """Whether there is such a curve."""
        return b > 0.0 and self.family.holds(shape) and self.real(b, shape)

    def internal(self, parameters: Mapping[str, float]) -> tuple[float, Shape]:
        """The break and the shape of the named parameters; raise ValueError in words."""
        values = []
        for name in self.parameter_names:
            if name not in parameters:
                raise ValueError(f"The {self.label} needs “{name}”.")
            values.append(float(parameters[name]))
            if not isfinite(values[-1]):
                raise ValueError(f"“{name}” of the {self.label} must be a finite number.")
        try:
            b, *shape = self.to_internal(values)
            known = self.holds(b, shape)
        except (ArithmeticError, ValueError):  # a root of a number below zero, a division by it
            known = False
        if not known:
            raise ValueError(f"No {self.label} has these parameters.")
        return b, shape

    def gap_at(self, parameters: Mapping[str, float], position_mm: npt.ArrayLike) -> Array:
        """The gap at positions from the tip; zero beyond the break.

        Raises ValueError where the curve ends before the position (an arc is no longer than
        its radius).
        """
        b, shape = self.internal(parameters)
        u = np.maximum(b - np.asarray(position_mm, dtype=float), 0.0)
        with np.errstate(all="ignore"):
            gap = self.family.gap(shape, u)
        if not np.isfinite(gap).all():
            raise ValueError(f"The {self.label} ends before this position.")
        return gap


def _report_arc(internal: Sequence[float]) -> Reported:
    b, q = internal
    return (b, 0.5 * q * q), ((1.0, 0.0), (0.0, q))


def _report_parabola(internal: Sequence[float]) -> Reported:
    b, q = internal
    return (b, 1.0 / (q * q)), ((1.0, 0.0), (0.0, -2.0 / q**3))


def _report_ellipse(internal: Sequence[float]) -> Reported:
    b, q, m = internal
    height = 0.5 * q * q / m
    length = height * sqrt(m)
    return (b, length, height), (
        (1.0, 0.0, 0.0),
        (0.0, 2.0 * length / q, -0.5 * length / m),
        (0.0, 2.0 * height / q, -height / m),
    )


def _report_easing(internal: Sequence[float]) -> Reported:
    b, a, c = internal
    return (b, 2.0 * a, 6.0 * c), ((1.0, 0.0, 0.0), (0.0, 2.0, 0.0), (0.0, 0.0, 6.0))


def _report_straight_tip(internal: Sequence[float]) -> Reported:
    b, q, w = internal
    root = sqrt(q * q - w * w)
    return (b, 0.5 * q * q, b - w * root), (
        (1.0, 0.0, 0.0),
        (0.0, q, 0.0),
        (1.0, -w * q / root, (2.0 * w * w - q * q) / root),
    )


def _report_two_arcs(internal: Sequence[float]) -> Reported:
    *plain, bend = internal
    (b, radius, join), (by_b, by_radius, by_join) = _report_straight_tip(plain)
    return (b, radius, radius / bend, join), (
        (*by_b, 0.0),
        (*by_radius, 0.0),
        (0.0, plain[1] / bend, 0.0, -radius / (bend * bend)),
        (*by_join, 0.0),
    )


def _root_gap_of_arc(b: float, radius: float, s: float) -> float:
    """√ of the gap of an arc at s, without cancellation: h = u²/(R + √(R² − u²))."""
    u = b - s
    return u / sqrt(radius + sqrt(radius**2 - u * u))


def _always(b: float, shape: Shape) -> bool:  # noqa: ARG001
    return True


def _is_ellipse(b: float, shape: Shape) -> bool:  # noqa: ARG001
    return shape[1] > 0.0


def _joins_on_the_facing(b: float, shape: Shape) -> bool:
    q, w, _ = shape
    return b - w * sqrt(q * q - w * w) >= -1e-9


def _bends_at_join(b: float, shape: Shape) -> bool:
    return _joins_on_the_facing(b, shape) and shape[2] > 0.0


CURVES: Mapping[str, Curve] = MappingProxyType({
    curve.key: curve
    for curve in (
        Curve(
            "arc", "circular arc (radial)",
            ("break_mm", "radius_mm"), CONIC, (1.0,),
            lambda p: (p[0], sqrt(2 * p[1]), 1.0), _report_arc,
            _always, "The readings don't bend the way an arc does.",
        ),
        Curve(
            "parabola", "parabola",
            ("break_mm", "coefficient_per_mm"), CONIC, (0.0,),
            lambda p: (p[0], 1 / sqrt(p[1]), 0.0), _report_parabola,
            _always, "The readings don't bend the way a parabola does.",
        ),
        Curve(
            "ellipse", "ellipse",
            ("break_mm", "half_length_mm", "half_height_mm"), CONIC, (),
            lambda p: (p[0], p[1] * sqrt(2 / p[2]), (p[1] / p[2]) ** 2), _report_ellipse,
            _is_ellipse, "The readings flatten toward the tip, which no ellipse does.",
        ),
        Curve(
            "straight_tip", "arc with a straight tip",
            ("break_mm", "radius_mm", "straight_from_mm"), JOINED, (0.0,),
            lambda p: (p[0], sqrt(2 * p[1]), _root_gap_of_arc(*p), 0.0), _report_straight_tip,
            _joins_on_the_facing,
            "A straight part would not fit the readings better than the arc alone.",
        ),
        Curve(
            "easing", "curvature that changes evenly",
            ("break_mm", "curvature_per_mm", "curvature_rate_per_mm2"), EASING, (),
            lambda p: (p[0], p[1] / 2, p[2] / 6), _report_easing,
            _always, "The readings ask for a curve that dips on its way from break to tip.",
        ),
        Curve(
            "two_arcs", "two arcs, one tangent",
            ("break_mm", "radius_mm", "tip_radius_mm", "join_mm"), JOINED, (),
            lambda p: (p[0], sqrt(2 * p[1]), _root_gap_of_arc(p[0], p[1], p[3]), p[1] / p[2]),
            _report_two_arcs, _bends_at_join,
            "A second arc would not fit the readings better than one alone.",
        ),
    )
})  # fmt: skip


def find_curve(key: str) -> Curve:
    """One row of the table; raise ValueError in words for an unknown key."""
    if key not in CURVES:
        raise ValueError(f"There is no curve “{key}”. Choose from {', '.join(CURVES)}.")
    return CURVES[key]
