"""Targets: the facing a piece is to have, told by a plain curve or by readings.

A plain facing is told as the trade tells it, by the facing length (where the thinnest blade
stops) and the tip opening. So its curve goes through two points, (0, tip opening) and (facing
length, thinnest blade), and starts further back, at the break. Curves with more than two
parameters take one number of shape besides; each has a usual value.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import exp, isfinite, log, sqrt

import numpy as np
from scipy.optimize import brentq, root

from app.core.facing.analysis import MalformedReading
from app.core.facing.curves import Array, find_curve
from app.core.facing.rails import judge_rail
from app.core.facing.stations import RailLine, line_of_readings, make_stations, stop_blade
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties

# 0.0015 in, the usual thinnest blade: common practice, no source
THINNEST_MM = 0.0381
RAILS = ("left", "right")
TRIED = 40  # numbers of shape looked at for a third point


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
    length = facing.facing_length_mm
    wanted = np.sqrt([facing.tip_opening_mm, facing.length_gap_mm])

    def make(break_mm: float, radius_mm: float) -> dict[str, float]:
        return shape.parameters(Trial(break_mm, radius_mm, length, number))

    def miss(unknown: np.ndarray) -> np.ndarray:
        parameters = make(length + exp(unknown[0]), exp(unknown[1]))
        return np.asarray(np.sqrt(curve.gap_at(parameters, [0.0, length])) / wanted - 1.0)

    break_mm, radius = _solve_arc(facing)
    try:
        unknowns = np.array([log(break_mm - length), log(radius)])
        if facing.curve != "arc":
            unknowns = root(miss, unknowns, tol=1e-13).x
        solved = bool(np.max(np.abs(miss(unknowns))) < 1e-9)
    except (ValueError, OverflowError):
        solved = False
    if not solved:
        raise MalformedReading(
            "target", f"No {curve.label} has this facing: it is too open for its length."
        )
    break_mm = length + exp(unknowns[0])
    return SolvedFacing(facing.curve, make(break_mm, exp(unknowns[1])), break_mm)


def find_shape(
    facing: PlainFacing,
    gap_mm: float,
    position_mm: float,
    write: Callable[[float], str] = "{:.1f} mm".format,
) -> float:
    """Find a curve's own number from a third point: a blade and where it should stop.

    Raises MalformedReading where the curve has none, or can't pass there; then the words say
    where this blade could stop, as `write` writes a length in mm.
    """
    curve, shape = find_curve(facing.curve), SHAPES[facing.curve]
    if shape.label is None:
        raise MalformedReading(
            "target.third_stop",
            f"Length and tip opening fix a {curve.label}: choose another curve, or leave the third "
            "point empty.",
        )
    _check_facing(replace(facing, shape=None))

    def miss(number: float) -> float:
        solved = solve_facing(replace(facing, shape=number))
        return float(curve.gap_at(solved.parameters, position_mm)) - gap_mm

    def stop(number: float) -> float | None:
        solved = solve_facing(replace(facing, shape=number))
        stations = make_stations(facing.facing_length_mm, ())
        return stop_blade(stations, curve.gap_at(solved.parameters, stations), gap_mm)

    tried: list[float] = []
    for number in np.geomspace(max(shape.least, 0.01), shape.most, TRIED).tolist():
        try:
            miss(number)
        except MalformedReading:
            continue
        tried.append(number)
    for low, high in pairwise(tried):
        if miss(low) * miss(high) <= 0:
            return float(brentq(miss, low, high, xtol=1e-6))
    stops = [at for number in tried if (at := stop(number)) is not None]
    where = f": it can stop from {write(min(stops))} to {write(max(stops))}" if stops else ""
    raise MalformedReading("target.third_stop", f"No {curve.label} has this blade there{where}.")


def _solve_arc(facing: PlainFacing) -> tuple[float, float]:
    """Break and radius of the arc through both points."""
    length, tip, gap = facing.facing_length_mm, facing.tip_opening_mm, facing.length_gap_mm
    rest = 1.0 - gap / tip
    inside = length**2 - rest * (length**2 + gap**2 - gap * tip)
    break_mm = (length + sqrt(max(inside, 0.0))) / rest
    return break_mm, (break_mm**2 + tip**2) / (2.0 * tip)


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


def draw_facing(facing: PlainFacing, stations_mm: Array) -> RailLine:
    """Lay out a plain facing; it is a target, so its uncertainty is zero."""
    solved = solve_facing(facing)
    gap = find_curve(solved.curve).gap_at(solved.parameters, stations_mm)
    return RailLine(stations_mm, gap, np.zeros_like(gap), solved.break_mm, solved.curve)


def draw_target(
    target: Target, rail: str, stations_mm: Array, uncertainties: Uncertainties
) -> RailLine:
    """Lay out a target for one rail by itself: its plain curve, or what its readings follow.

    A rail the target's readings leave out is taken from the other. Raises MalformedReading.
    """
    if isinstance(target, PlainFacing):
        return draw_facing(target, stations_mm)
    stops = target_stops(target, rail)
    tip = read_tip(target, uncertainties)
    fit = judge_rail(stops, tip, uncertainties).chosen_fit
    try:
        return line_of_readings(stops, tip, fit, uncertainties, stations_mm)
    except ValueError as error:
        raise MalformedReading(f"target.{rail}", f"The {rail} rail: {error}") from error


def target_stops(target: Target, rail: str) -> tuple[BladeStop, ...]:
    """A target's stops for a rail; the other rail's where only that one is told."""
    if isinstance(target, PlainFacing):
        return ()
    own: tuple[BladeStop, ...] = getattr(target, rail)
    return own or target.left or target.right


def read_tip(readings: FacingReadings, uncertainties: Uncertainties) -> tuple[float, float] | None:
    """The tip opening with its standard uncertainty, or None if it was not read."""
    if readings.tip_opening_mm is None:
        return None
    return readings.tip_opening_mm, readings.tip_u_mm or uncertainties.tip_mm


@dataclass(frozen=True, slots=True)
class BladeTarget:
    """Where one blade should stop on each rail; None if it should not go in at all.

    `low_mm` to `high_mm` is what the tolerance allows about the mean of the two, None without.
    """

    gap_mm: float
    left_mm: float | None
    right_mm: float | None
    low_mm: float | None
    high_mm: float | None


def place_blades(
    target: Target,
    gaps_mm: Sequence[float],
    tolerance: FacingTolerance = FacingTolerance(),
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
    end_mm: float = 60.0,
) -> tuple[BladeTarget, ...]:
    """Tell where each blade of any set should stop on this target, thin to thick.

    A blade the target's own readings were taken with stops where they say. The tolerance is
    the narrower of ± `position_mm` and of a gap `gap_mm` higher or lower than the target.
    Raises MalformedReading for a blade or a target that cannot be.
    """
    for gap in gaps_mm:
        if not (isfinite(gap) and gap > 0):
            raise MalformedReading("gaps", "A blade must be thicker than zero.")
    stations = make_stations(end_mm, ())
    lines = {rail: draw_target(target, rail, stations, uncertainties) for rail in RAILS}
    typed = {
        rail: {stop.gap_mm: stop.position_mm for stop in target_stops(target, rail)}
        for rail in RAILS
    }
    placed = []
    for gap in sorted(set(gaps_mm)):
        left, right = (typed[rail].get(gap, lines[rail].stop(gap)) for rail in RAILS)
        low, high = _allow(lines["left"], gap, left, right, tolerance)
        placed.append(BladeTarget(gap, left, right, low, high))
    return tuple(placed)


def place_target(target: Target, gaps_mm: Sequence[float]) -> FacingReadings:
    """Where blades of these sizes should stop on a target, as if they had been read there."""
    placed = place_blades(target, gaps_mm)
    left = tuple(BladeStop(b.gap_mm, b.left_mm) for b in placed if b.left_mm is not None)
    right = tuple(BladeStop(b.gap_mm, b.right_mm) for b in placed if b.right_mm is not None)
    return FacingReadings(left, right, target.tip_opening_mm)


def _allow(
    line: RailLine,
    gap_mm: float,
    left_mm: float | None,
    right_mm: float | None,
    tolerance: FacingTolerance,
) -> tuple[float | None, float | None]:
    read = [position for position in (left_mm, right_mm) if position is not None]
    drawn = line.stop(gap_mm)
    if not read or drawn is None:
        return None, None
    middle = sum(read) / len(read)
    lows, highs = [], []
    if tolerance.position_mm is not None:
        lows.append(middle - tolerance.position_mm)
        highs.append(middle + tolerance.position_mm)
    if tolerance.gap_mm is not None:
        # a rail that stands lower stops a thicker blade's place sooner
        near, far = line.stop(gap_mm + tolerance.gap_mm), line.stop(gap_mm - tolerance.gap_mm)
        lows.append(middle + (0.0 if near is None else near) - drawn)
        highs.append(middle + (drawn if far is None else min(far, line.break_mm)) - drawn)
    return (max(lows), min(highs)) if lows else (None, None)


def common_gaps(*readings: FacingReadings) -> tuple[float, ...]:
    """Every blade thickness used in these readings, thin to thick."""
    return tuple(sorted({s.gap_mm for r in readings for s in (*r.left, *r.right)}))
