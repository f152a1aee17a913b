"""Lines to draw: a plain curve as points, and the free curve through the readings.

The free curve is drawn in √h against s, where a plain facing is nearly a straight line, with
monotone cubic pieces (Fritsch and Carlson 1980): it never overshoots and never dips.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator
from scipy.optimize import isotonic_regression

from app.core.facing.curves import find_curve
from app.core.facing.families import Array
from app.core.values.readings import BladeStop


def trace_curve(
    curve_key: str, parameters: Mapping[str, float], s_mm: npt.ArrayLike
) -> npt.NDArray[np.float64]:
    """The gap in mm of a plain curve at positions from the tip; zero beyond the break.

    Raises ValueError in words for an unknown curve, impossible parameters, or a position the
    curve does not reach.
    """
    return find_curve(curve_key).gap_at(parameters, s_mm)


@dataclass(frozen=True, slots=True)
class FreeCurve:
    """A monotone line through readings, in mm, from `start_mm` to `end_mm`.

    Beyond the last reading √h runs straight on, as it last went, to `break_mm`; that is None
    where the last readings rise no more. Where readings contradict
    each other (a thinner blade stopping nearer the tip) the line passes between them.
    """

    start_mm: float
    end_mm: float
    break_mm: float | None
    knots_mm: tuple[float, ...]
    roots: tuple[float, ...]

    def _line(self) -> PchipInterpolator:
        return PchipInterpolator(self.knots_mm, self.roots, extrapolate=False)

    def gap_at(self, s_mm: npt.ArrayLike) -> Array:
        """The gap at positions; zero beyond the break, nan where nothing was read."""
        s = np.asarray(s_mm, dtype=float)
        gap = np.asarray(self._line()(s)) ** 2
        if self.break_mm is not None:
            gap = np.where(s >= self.break_mm, 0.0, gap)
        return gap

    def position_of(self, gap_mm: npt.ArrayLike) -> Array:
        """The position at which a gap is found, the one nearer the tip on a level part.

        It is nan for gaps larger than any read.
        """
        root = np.sqrt(np.asarray(gap_mm, dtype=float))
        line = self._line()
        low = np.full(root.shape, self.knots_mm[0])
        high = np.full(root.shape, self.knots_mm[-1])
        for _ in range(60):
            middle = 0.5 * (low + high)
            beyond = line(middle) > root
            low, high = np.where(beyond, middle, low), np.where(beyond, high, middle)
        outside = (root > self.roots[0] + 1e-12) | (root < self.roots[-1] - 1e-12)
        return np.where(outside, np.nan, 0.5 * (low + high))

    def slope_at_gap(self, gap_mm: float) -> float | None:
        """How steeply the gap opens toward the tip where it has this size; None outside."""
        position = float(self.position_of(gap_mm))
        if not np.isfinite(position):
            return None
        return float(-2.0 * np.sqrt(gap_mm) * self._line()(position, 1))


def free_curve(stops: Sequence[BladeStop], tip_opening_mm: float | None = None) -> FreeCurve | None:
    """Draw the free curve through blade stops and the tip; None with fewer than two places."""
    points = [(stop.position_mm, stop.gap_mm) for stop in stops]
    if tip_opening_mm is not None:
        points.append((0.0, tip_opening_mm))
    if not points:
        return None
    s, gap = np.array(sorted(points)).T
    # readings at one place, to a thousandth, stand for one knot
    _, where, count = np.unique(np.round(s, 3), return_inverse=True, return_counts=True)
    if len(count) < 2:
        return None
    knots = np.bincount(where, s) / count
    read = np.bincount(where, np.sqrt(gap)) / count
    roots = isotonic_regression(read, weights=count, increasing=False).x
    fall = roots[-2] - roots[-1]
    places, heights = [*map(float, knots)], [*map(float, roots)]
    break_mm = None
    if fall > 1e-9:
        break_mm = places[-1] + float(roots[-1] * (knots[-1] - knots[-2]) / fall)
        if break_mm > places[-1]:
            places, heights = [*places, break_mm], [*heights, 0.0]
    return FreeCurve(float(knots[0]), float(knots[-1]), break_mm, tuple(places), tuple(heights))
