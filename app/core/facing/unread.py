"""Where a rail was not read: what is drawn there is a guess, and which blade would tell most.

Between two readings a curve is carried on by its neighbours; over more than some millimetres that
is a guess. A blade about as thick as the gap in the middle of the longest such stretch would stop
there.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from app.core.facing.stations import Array
from app.core.values.readings import BladeStop

# our own measure: the usual blades on a clarinet stop at most some 6 mm apart
LONGEST_GUESS_MM = 7.0
# feelers in inches as they are sold, in thousandths; common practice, no source
USUAL_THOU = (1.5, 2, 3, 5, 8, 10, 12, 16, 20, 24, 30, 34, 42, 50, 56, 63, 70, 78, 86, 93)


@dataclass(frozen=True, slots=True)
class Unread:
    """A stretch of a rail that was not read, in mm from the tip, and the blade that would tell."""

    from_mm: float
    to_mm: float
    blade_mm: float


def list_unread(
    stops: Sequence[BladeStop], tip_mm: float | None, stations_mm: Array, gap_mm: Array
) -> tuple[Unread, ...]:
    """List the stretches of one rail that were not read, the longest first.

    Up to the thinnest blade's stop; the part before the thickest one is unread where the tip
    opening is. `gap_mm` is the rail as it is drawn, at stations.
    """
    if not stops:
        return ()
    places = sorted({stop.position_mm for stop in stops})
    if not places[0]:
        stretches = []
    else:
        least = 0.0 if tip_mm is None else LONGEST_GUESS_MM
        stretches = [(0.0, places[0])] if places[0] > least else []
    stretches += [(a, b) for a, b in pairwise(places) if b - a > LONGEST_GUESS_MM]
    unread = []
    for start, end in stretches:
        middle = float(np.interp((start + end) / 2.0, stations_mm, gap_mm))
        blade = min((0.0254 * thou for thou in USUAL_THOU), key=lambda size: abs(size - middle))
        unread.append(Unread(start, end, blade))
    return tuple(sorted(unread, key=lambda stretch: stretch.from_mm - stretch.to_mm))
