"""The closing effort: one ratio with limits beyond the fits it rests on, and the map.

Every turn has readings of its own, so that nothing is remembered.
"""

from itertools import count

import numpy as np

from app.core.compare.differences import take_facing
from app.core.compare.effort import compare_efforts
from app.core.facing.analysis import analyse_facing
from app.core.plan.effort_map import EffortQuestion, map_effort
from app.core.plan.facings import PlainFacing, draw_facing
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties
from app.render.effort_map import EffortPicture, draw_effort_map
from tests.benchmarks.figure import take_down
from tests.benchmarks.measuring import Row, compare, say_time, time_in_turns

RATIO_S, MAP_S, FIGURE_LIMIT = 0.030, 0.150, 1.3
BLADES_MM = (0.0381, 0.254, 0.6096, 0.8636)
STATIONS = np.linspace(0.0, 60.0, 601)
_turns = count()


def read(length_mm: float, tip_mm: float) -> FacingReadings:
    """Make readings that no turn had before."""
    line = draw_facing(PlainFacing(length_mm + 1e-4 * next(_turns), tip_mm), STATIONS)
    stops = [(gap, line.stop(gap)) for gap in BLADES_MM]
    rail = tuple(BladeStop(gap, at) for gap, at in stops if at is not None)
    return FacingReadings(rail, rail, tip_mm)


def tell_ratio() -> None:
    """Work a ratio out, its two analyses among it."""
    sides = (take_facing(read(*lay)) for lay in ((16.6, 1.03), (17.3, 1.12)))
    compare_efforts(*sides, "clarinet_bb")


def analyse() -> None:
    """Analyse the mean of both sides, as the ratio does."""
    for lay in ((16.6, 1.03), (17.3, 1.12)):
        analyse_facing(read(*lay), only_mean=True)


def draw_map() -> bytes:
    """Draw a map up from the readings to the picture."""
    asked = EffortQuestion(
        read(16.8, 1.04), PlainFacing(17.6, 1.13), "clarinet_bb", Uncertainties()
    )
    return draw_effort_map(EffortPicture(map_effort(asked)))


def run() -> list[Row]:
    """Time a ratio beyond its analyses, and the map beside a bare Figure of the same lines."""
    bare = take_down(draw_map)
    ratio = time_in_turns({"ours": tell_ratio, "analysed": analyse})
    drawn = time_in_turns({"ours": draw_map, "bare": bare.draw}, times=9)
    beyond = min(ratio["ours"]) - min(ratio["analysed"])
    whole = min(drawn["ours"])
    return [
        Row("effort with limits, beyond its analyses", "30 ms", say_time(beyond),
            say_time(RATIO_S), beyond / RATIO_S, 1.0),
        Row("map of effort, drawn anew", "150 ms", say_time(whole), say_time(MAP_S),
            whole / MAP_S, 1.0),
        compare("map of effort, drawn anew", "a bare Figure", drawn["ours"], drawn["bare"],
                FIGURE_LIMIT),
    ]  # fmt: skip
