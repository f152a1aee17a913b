"""A reed as a clamped beam that bends onto a lay: small slopes (Euler and Bernoulli).

Put by its flexibility (the force method): forces at the nodes bend the beam by UᵀU·forces, where U
comes from their moment arms, exact for a cantilever up to the quadrature. What the lay holds off is
the shape of least energy; its forces, none of which pulls, are a non-negative least squares in U.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import brentq, nnls

from app.core.facing.stations import Array, RailLine

Along = Callable[[Array], Array]

CELLS = 50
LEFT_OPEN = 0.1  # of the tip opening, when the reed counts as closed
# reeds by kind of instrument: length of the cut, thickness where it ends (mm); then the thickness
# at the tip, and by shape the power with which it rises. All from memory, measured on no reed
REEDS: dict[str, tuple[float, float]] = {
    "clarinet_ab": (27.0, 2.6), "clarinet_eb": (29.0, 2.7), "clarinet_d": (30.0, 2.7),
    "clarinet_c": (32.0, 2.8), "clarinet_bb": (33.0, 2.8), "clarinet_basset": (33.0, 2.8),
    "basset_horn": (35.0, 2.9), "clarinet_alto": (37.0, 3.0), "clarinet_bass": (41.0, 3.2),
    "clarinet_contra_alto": (44.0, 3.4), "clarinet_contra": (47.0, 3.5),
    "sax_sopranino": (29.0, 2.7), "sax_soprano": (32.0, 2.8),
    "sax_alto": (37.0, 3.0), "sax_c_melody": (39.0, 3.1), "sax_tenor": (42.0, 3.2),
    "sax_baritone": (47.0, 3.5), "sax_bass": (50.0, 3.7), "sax_contrabass": (54.0, 3.9),
    "other": (37.0, 3.0),
}  # fmt: skip
TIP_MM = 0.1
SHAPES: dict[str, float] = {"straight taper": 1.0, "usual": 1.3, "thin tip": 1.6}
USUAL = "usual"

_POINTS, _SHARES = np.polynomial.legendre.leggauss(3)


@dataclass(frozen=True, slots=True)
class Beam:
    """A beam clamped at 0 and free at the last of its nodes (mm from the clamp).

    `arms` (places, nodes) are moment arms in mm at the places of the quadrature, times `roots`,
    the roots of the weighed flexibility there.
    """

    nodes_mm: Array
    places_mm: Array
    roots: Array
    arms: Array

    def deflect(self, moment: Along) -> Array:
        """Return the free deflection in mm at the nodes under a moment (N mm) by place."""
        return np.asarray((self.roots * moment(self.places_mm)) @ self.arms)

    def factor(self) -> Array:
        """Return U, upper triangular, for `settle`."""
        return np.asarray(np.linalg.qr(self.arms, mode="r"))


def clamp_beam(length_mm: float, stiffness: Along, cells: int = CELLS) -> Beam:
    """Return a beam whose EI in N mm² is told by the distance from the clamp in mm."""
    half = length_mm / (2 * cells)
    nodes = np.linspace(0.0, length_mm, cells + 1)[1:]
    places = (nodes[:, None] + half * (_POINTS - 1.0)).ravel()
    roots = np.sqrt(half * np.resize(_SHARES, len(places)) / stiffness(places))
    arms = roots[:, None] * np.maximum(nodes - places[:, None], 0.0)
    return Beam(nodes, places, roots, arms)


def settle(factor: Array, free_mm: Array, lay_mm: Array) -> Array:
    """Return the deflection of what would freely bend to `free_mm` but for the lay in its way."""
    beyond = solve_triangular(factor, free_mm - lay_mm, trans="T")
    forces, _ = nnls(factor, beyond, maxiter=50 * len(lay_mm))
    return np.asarray(free_mm - factor.T @ (factor @ forces))


def close_beam(beam: Beam, lay_mm: Array, left_open: float) -> float:
    """Return the load per length in N/mm that leaves this share of the opening at the free end.

    Infinite where none does, as for a uniform beam on an arc and a share of nothing.
    """
    length = beam.nodes_mm[-1]
    free = beam.deflect(lambda x: (length - x) ** 2 / 2.0)
    wanted = (1.0 - left_open) * lay_mm[-1]
    least = float(wanted / free[-1])
    if (least * free <= lay_mm).all():  # it meets the lay nowhere before
        return least
    factor = beam.factor()

    def miss(load: float) -> float:
        return float(settle(factor, load * free, lay_mm)[-1] - wanted)

    most = next((times * least for times in (1.5, 5.0, 50.0) if miss(times * least) > 0.0), None)
    if most is None:
        return float("inf")
    return float(brentq(miss, least, most, xtol=1e-9 * least, rtol=1e-9))


def find_effort(line: RailLine, kind: str, shape: str = USUAL, cells: int = CELLS) -> float:
    """Return the effort of a lay for a kind of instrument's reed, in units that only cancel."""
    length, heel = REEDS[kind]

    def stiffness(from_break: Array) -> Array:
        share = (line.break_mm - from_break) / length
        return np.asarray((TIP_MM + (heel - TIP_MM) * share ** SHAPES[shape]) ** 3)

    reed = clamp_beam(line.break_mm, stiffness, cells)
    lay = np.interp(line.break_mm - reed.nodes_mm, line.stations_mm, line.gap_mm)
    return close_beam(reed, lay, LEFT_OPEN)
