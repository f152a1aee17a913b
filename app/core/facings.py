"""Targets: the facing a piece is to have, told by a plain curve or by readings.

A plain facing is told as the trade tells it, by the facing length (where the thinnest blade
stops) and the tip opening. So its curve goes through two points, (0, tip opening) and (facing
length, thinnest blade), and starts further back, at the break. Curves with more than two
parameters take one number of shape besides; each has a usual value.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, isfinite, log, sqrt

import numpy as np
from scipy.optimize import root

from app.core.analysis import MalformedReading
from app.core.curves import find_curve
from app.core.readings import BladeStop, FacingReadings

# 0.0015 in, the usual thinnest blade: common practice, no source
THINNEST_MM = 0.0381


@dataclass(frozen=True, slots=True)
class PlainFacing:
    """A target by plain curve. `facing_length_mm` is where the blade `length_gap_mm` stops.

    `shape` is the curve's own number (see `SHAPES`), None for its usual value; an arc and a
    parabola have none.
    """

    facing_length_mm: float
    tip_opening_mm: float
    curve: str = "arc"
    length_gap_mm: float = THINNEST_MM
    shape: float | None = None


Target = PlainFacing | FacingReadings


@dataclass(frozen=True, slots=True)
class SolvedFacing:
    """A plain facing with its curve's parameters worked out; `break_mm` is where it starts."""

    curve: str
    parameters: Mapping[str, float]
    break_mm: float


@dataclass(frozen=True, slots=True)
class FacingTolerance:
    """How far a piece may stand from its target: along the glass, at the tip, and in the gap.

    Each is a half-width in mm; what is None is not judged.
    """

    position_mm: float | None = None
    tip_mm: float | None = None
    gap_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Trial:
    """What a curve's parameters are made from: break, radius there, facing length, shape."""

    break_mm: float
    radius_mm: float
    length_mm: float
    shape: float


@dataclass(frozen=True, slots=True)
class Shape:
    """The one number that a curve of more than two parameters takes besides its two points.

    `label` says what it is (None: the curve needs none), `parameters` makes the curve's own.
    """

    label: str | None
    usual: float
    least: float
    most: float
    parameters: Callable[[Trial], dict[str, float]]


SHAPES: dict[str, Shape] = {
    "arc": Shape(
        None, 0.0, 0.0, 0.0, lambda t: {"break_mm": t.break_mm, "radius_mm": t.radius_mm}
    ),
    "parabola": Shape(
        None, 0.0, 0.0, 0.0,
        lambda t: {"break_mm": t.break_mm, "coefficient_per_mm": 0.5 / t.radius_mm},
    ),
    "ellipse": Shape(
        "half length of the ellipse, in lengths of the curve", 1.5, 1.01, 100.0,
        lambda t: {
            "break_mm": t.break_mm,
            "half_length_mm": t.shape * t.break_mm,
            "half_height_mm": (t.shape * t.break_mm) ** 2 / t.radius_mm,
        },
    ),
    "straight_tip": Shape(
        "length of the straight part at the tip, in mm", 3.0, 0.0, 30.0,
        lambda t: {
            "break_mm": t.break_mm, "radius_mm": t.radius_mm, "straight_from_mm": t.shape,
        },
    ),
    "easing": Shape(
        "curvature at the tip, as a share of that at the break", 0.5, 0.01, 20.0,
        lambda t: {
            "break_mm": t.break_mm,
            "curvature_per_mm": 1 / t.radius_mm,
            "curvature_rate_per_mm2": (t.shape - 1) / (t.break_mm * t.radius_mm),
        },
    ),
    "two_arcs": Shape(
        "radius toward the tip, in radii of the first arc", 2.0, 0.05, 50.0,
        lambda t: {
            "break_mm": t.break_mm,
            "radius_mm": t.radius_mm,
            "tip_radius_mm": t.shape * t.radius_mm,
            "join_mm": t.length_mm / 2,
        },
    ),
}  # fmt: skip


def solve_facing(facing: PlainFacing) -> SolvedFacing:
    """Find the curve through (0, tip opening) and (facing length, length blade).

    The arc has a closed form: with u² = 2Rh − h² at both points, b solves
    (1 − g/t)b² − 2Fb + F² + g² − gt = 0. The others start from it and are solved numerically.
    Raises MalformedReading, in words and with the field, for a facing that cannot be.
    """
    _check_facing(facing)
    curve, shape = find_curve(facing.curve), SHAPES[facing.curve]
    number = shape.usual if facing.shape is None else facing.shape
    length, tip, gap = facing.facing_length_mm, facing.tip_opening_mm, facing.length_gap_mm
    ratio = gap / tip
    inside = length**2 - (1 - ratio) * (length**2 + gap**2 - gap * tip)
    start = (length + sqrt(max(inside, 0.0))) / (1 - ratio)
    radius = (start**2 + tip**2) / (2 * tip)
    if facing.curve != "arc":
        wanted = np.sqrt([tip, gap])

        def miss(unknown: np.ndarray) -> np.ndarray:
            parameters = shape.parameters(
                Trial(length + exp(unknown[0]), exp(unknown[1]), length, number)
            )
            return np.asarray(np.sqrt(curve.gap_at(parameters, [0.0, length])) / wanted - 1)

        try:
            answer = root(miss, [log(start - length), log(radius)], tol=1e-13)
            found = bool(np.max(np.abs(miss(answer.x))) < 1e-9)
        except (ValueError, OverflowError):
            found = False
        if not found:
            raise MalformedReading("target", f"No {curve.label} of this shape has this facing.")
        start, radius = length + exp(answer.x[0]), exp(answer.x[1])
    parameters = shape.parameters(Trial(start, radius, length, number))
    try:
        curve.gap_at(parameters, [0.0, length])
    except ValueError as error:
        raise MalformedReading(
            "target", f"No {curve.label} has this facing: it is too open for its length."
        ) from error
    return SolvedFacing(facing.curve, parameters, start)


def _check_facing(facing: PlainFacing) -> None:
    if facing.curve not in SHAPES:
        raise MalformedReading(
            "target.curve", f"There is no curve “{facing.curve}”. Choose from {', '.join(SHAPES)}."
        )
    for name, what in (
        ("facing_length_mm", "The facing length"),
        ("tip_opening_mm", "The tip opening"),
        ("length_gap_mm", "The blade that reads the facing length"),
    ):
        value = getattr(facing, name)
        if not (isfinite(value) and value > 0):
            raise MalformedReading(f"target.{name}", f"{what} must be more than zero.")
    if facing.tip_opening_mm <= facing.length_gap_mm:
        raise MalformedReading(
            "target.tip_opening_mm",
            "The tip opening must be more than the blade that reads the facing length.",
        )
    shape = SHAPES[facing.curve]
    if facing.shape is None or shape.label is None:
        return
    if not (isfinite(facing.shape) and shape.least <= facing.shape <= shape.most):
        raise MalformedReading(
            "target.shape", f"The {shape.label}, must be {shape.least:g} to {shape.most:g}."
        )
    if facing.curve == "straight_tip" and facing.shape >= facing.facing_length_mm:
        raise MalformedReading(
            "target.shape", "The straight part must be shorter than the facing length."
        )


def even_up(readings: FacingReadings) -> FacingReadings:
    """Make the target that evens up two rails: on each blade the more open rail rules.

    Only removal is possible, so the closed rail is brought to the open one and the open one is
    left alone. A blade felt on one rail only keeps that reading. Raises ValueError without
    readings on both rails.
    """
    if not (readings.left and readings.right):
        raise ValueError("Evening up needs readings on both rails.")
    stops: dict[float, BladeStop] = {}
    for stop in (*readings.left, *readings.right):
        further = stops.get(stop.gap_mm)
        if further is None or stop.position_mm > further.position_mm:
            stops[stop.gap_mm] = stop
    both = tuple(stops[gap] for gap in sorted(stops))
    return FacingReadings(both, both, readings.tip_opening_mm, readings.tip_u_mm)


def common_gaps(*readings: FacingReadings) -> tuple[float, ...]:
    """Give every blade thickness used in these readings, thin to thick."""
    return tuple(sorted({s.gap_mm for r in readings for s in (*r.left, *r.right)}))


def as_stops(gaps: Sequence[float], positions: Sequence[float]) -> tuple[BladeStop, ...]:
    """Pair blades with the positions at which they stop."""
    return tuple(BladeStop(g, p) for g, p in zip(gaps, positions, strict=True))
