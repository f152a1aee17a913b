"""What the planning tests share: the usual blades, readings in half-millimetre numbers, arcs."""

from collections.abc import Sequence

import numpy as np

from app.core.plan.facings import PlainFacing, solve_facing
from app.core.values.readings import BladeStop, FacingReadings

# the usual set in inches is common practice, no source; in mm, thin to thick
BLADES_MM = tuple(inch * 25.4 for inch in (0.0015, 0.010, 0.024, 0.034))


def as_stops(gaps: Sequence[float], positions: Sequence[float]) -> tuple[BladeStop, ...]:
    """Pair blades with the positions at which they stop."""
    return tuple(BladeStop(g, p) for g, p in zip(gaps, positions, strict=True))


def read_numbers(
    left: Sequence[float], tip_mm: float | None, right: Sequence[float] | None = None
) -> FacingReadings:
    """Make readings from glass numbers that count half-millimetres, thin to thick."""
    rails = [as_stops(BLADES_MM, [n / 2 for n in side]) for side in (left, right or left)]
    return FacingReadings(rails[0], rails[1], tip_mm)


# the lines of `tests/lines.py`, as read on both rails
CLOSE = read_numbers([33.5, 21.5, 11.5, 5.5], 1.05)
OPEN = read_numbers([35.5, 23.5, 13.5, 6.5], 1.13)


def arc_gap(facing: PlainFacing, s: np.ndarray) -> np.ndarray:
    """Give the gap of an arc by its own formula, R − √(R² − u²)."""
    p = solve_facing(facing).parameters
    u = np.maximum(p["break_mm"] - s, 0.0)
    return p["radius_mm"] - np.sqrt(p["radius_mm"] ** 2 - u * u)


def arc_stops(facing: PlainFacing) -> np.ndarray:
    """Give where the usual blades stop on an arc, u = √(2Rh − h²)."""
    p = solve_facing(facing).parameters
    h = np.array(BLADES_MM)
    return p["break_mm"] - np.sqrt(2 * p["radius_mm"] * h - h * h)


def read_arc(facing: PlainFacing, noise: np.ndarray | float = 0.0) -> FacingReadings:
    """Read an arc with the usual blades on both rails, (2, 4) of noise added in mm."""
    rails = np.broadcast_to(arc_stops(facing), (2, 4)) + noise
    return FacingReadings(
        as_stops(BLADES_MM, rails[0].tolist()),
        as_stops(BLADES_MM, rails[1].tolist()),
        facing.tip_opening_mm,
    )
