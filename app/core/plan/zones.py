"""Where along a rail: its tip, its middle, its heel; and a plan's cut taken apart for a hand.

A hand can tilt the piece toward the tip, which takes most at the tip and nothing where the
facing starts, and it can work one rail, or a third of it. So a cut is split into the largest
tilt that both rails can bear, and what one rail must lose beyond the other, third by third;
what both then still lack is tilted for again, once it was read.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from app.core.plan.cuts import Array
from app.core.plan.plan_values import WORTH_CUTTING_MM, RemovalPlan
from app.core.values.passes import RAIL_ZONES, rail_cut

# a rail whose thirds lack the same to within this share is worked along its length
ALIKE_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class ZoneCut:
    """One cut of a plan as a hand makes it: its key in `CUT_KINDS`, how deep, and how sure."""

    cut: str
    depth_mm: float
    u_mm: float


def zone_of(position_mm: float, length_mm: float) -> str:
    """Tell in which third a place lies: "tip", "middle" or "heel"."""
    third = int(3 * position_mm / length_mm) if length_mm > 0 else 0
    return RAIL_ZONES[min(max(third, 0), 2)]


def facing_length(plan: RemovalPlan) -> float:
    """Return the length that the thirds are thirds of: the target's, by its thinnest blade."""
    positions = [stop.position_mm for stop in plan.target_positions if stop.position_mm]
    return positions[0] if positions else plan.table.break_mm


def list_zone_cuts(plan: RemovalPlan) -> tuple[ZoneCut, ...]:
    """Return the rails' part of a plan, deepest first; what can't be told from nothing is out."""
    rails = {rail: getattr(plan, rail) for rail in ("left", "right") if getattr(plan, rail)}
    stations = np.array([station.position_mm for station in next(iter(rails.values()))])
    return split_cut(
        stations,
        {rail: np.array([station.cut_mm for station in cuts]) for rail, cuts in rails.items()},
        {rail: np.array([station.u_mm for station in cuts]) for rail, cuts in rails.items()},
        facing_length(plan),
    )


def split_cut(
    stations_mm: Array, cuts: Mapping[str, Array], u: Mapping[str, Array], length_mm: float
) -> tuple[ZoneCut, ...]:
    """Split rails' cuts into a tilt toward the tip and what is left in each third."""
    inside = stations_mm < 0.95 * length_mm
    fall = np.maximum(0.0, 1.0 - stations_mm / length_mm)
    both = np.min(list(cuts.values()), axis=0)
    tilt = float(np.min(both[inside] / fall[inside]))
    tilts = []
    if tilt >= WORTH_CUTTING_MM and len(cuts) == 2:
        at_tip = float(np.mean([rail_u[0] for rail_u in u.values()]))
        tilts.append(ZoneCut("tilted", tilt, at_tip))
    else:
        both = np.zeros_like(both)
    rest = [
        part
        for rail, cut in cuts.items()
        for part in _split_rail(rail, stations_mm, cut - both, u[rail], length_mm)
    ]
    return (*tilts, *sorted(rest, key=lambda part: -part.depth_mm))


def _split_rail(
    rail: str, stations_mm: Array, rest_mm: Array, u_mm: Array, length_mm: float
) -> Iterator[ZoneCut]:
    thirds = []
    for at, zone in enumerate(RAIL_ZONES):
        here = (stations_mm >= at * length_mm / 3) & (stations_mm < (at + 1) * length_mm / 3)
        if here.any():
            thirds.append((zone, float(rest_mm[here].mean()), float(u_mm[here].mean())))
    worked = [third for third in thirds if third[1] >= max(WORTH_CUTTING_MM, third[2])]
    depths = [depth for _, depth, _ in worked]
    if len(worked) == 3 and min(depths) >= ALIKE_SHARE * max(depths):
        yield ZoneCut(rail_cut(rail), min(depths), float(np.mean([u for _, _, u in worked])))
        return
    for zone, depth, zone_u in worked:
        yield ZoneCut(rail_cut(rail, zone), depth, zone_u)
