"""More open, and no harder: which tips and lengths close a reed as the piece does now.

Every lay on the map is of the curve of the lay now: like beside like, as in `effort`. It is drawn
out along the glass and opened in proportion until tip and length are met; so the lay now is itself
one of them, and an arc stays so nearly an arc that no effort changes by a thousandth.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import hypot, log, sqrt

import numpy as np
from scipy.interpolate import make_interp_spline
from scipy.optimize import brentq

from app.core.compare.beams import SHAPES, USUAL, find_effort
from app.core.compare.effort import EffortRatio, limit_ratio
from app.core.facing.analysis import MalformedReading
from app.core.facing.stations import Array, RailLine
from app.core.plan.facings import (
    RAILS,
    THINNEST_MM,
    PlainFacing,
    Target,
    draw_facing,
    draw_target,
    place_blades,
)
from app.core.values.readings import FacingReadings, Uncertainties
from app.core.values.uncertainty import K_95
from app.core.values.units import Scale, format_mm, format_number, to_scale

TIP, LENGTH = 0, 1  # a lay as a point on the map
NODES, FINE = 6, 61
_STATIONS = np.linspace(0.0, 60.0, 241)
Effort = Callable[[float, float], float]  # its logarithm, by tip and length in mm
_SLACK_MM = 0.002  # less is neither read nor cut


@dataclass(frozen=True, slots=True)
class EffortQuestion:
    """What is asked of the map: the lay now, the target if there is one, whose reeds.

    `tolerance_mm` is how far the gap may miss a target, as in a plan.
    """

    now: FacingReadings
    target: Target | None
    kind: str
    uncertainties: Uncertainties
    tolerance_mm: float = 0.0
    length_gap_mm: float = THINNEST_MM


@dataclass(frozen=True, slots=True)
class EffortMap:
    """Percent by which each lay closes harder than now, by length (rows) and tip; all lengths mm.

    `spare_mm` is the least gap by which each lay stands above the rails now: where it is not
    below nothing, rails alone can reach it. `now` and `target` are (tip, length).
    """

    tips_mm: tuple[float, ...]
    lengths_mm: tuple[float, ...]
    percent: tuple[tuple[float, ...], ...]
    spare_mm: tuple[tuple[float, ...], ...]
    now: tuple[float, float]
    target: tuple[float, float] | None


def place_lay(question: EffortQuestion, lay: Target) -> tuple[float, float]:
    """Return a lay's tip opening and facing length; raises MalformedReading without one."""
    if lay.tip_opening_mm is None:
        raise MalformedReading("tip_opening_mm", "How hard a reed closes needs the tip opening.")
    gap = question.length_gap_mm
    (placed,) = place_blades(lay, [gap], uncertainties=question.uncertainties)
    read = [stop for stop in (placed.left_mm, placed.right_mm) if stop is not None]
    if not read:
        raise MalformedReading("left", "How hard a reed closes needs the facing length.")
    return lay.tip_opening_mm, sum(read) / len(read)


def _draw_rails(lay: Target, uncertainties: Uncertainties) -> tuple[RailLine, Array]:
    """Return the mean of a lay's rails, and the higher of the two, at `_STATIONS`."""
    left, right = (draw_target(lay, rail, _STATIONS, uncertainties) for rail in RAILS)
    further, gap = max(left.break_mm, right.break_mm), (left.gap_mm + right.gap_mm) / 2.0
    mean = replace(left, gap_mm=gap, break_mm=further)
    return mean, np.maximum(left.gap_mm, right.gap_mm)


def _draw_like(
    mean: RailLine, now: tuple[float, float], gap_mm: float, tips: Array, lengths: Array
) -> tuple[Array, Array]:
    """Return how far the lay now is opened (tips), and drawn out (lengths, tips), to be another."""
    opened = tips / now[0]
    # where each one, not yet drawn out, has its facing length; first the lay now, which was read
    places = [mean.stop(gap_mm / times) for times in (1.0, *opened.tolist())]
    stops = np.array([stop for stop in places if stop])
    if len(stops) < len(places):
        raise MalformedReading("tip_opening_mm", "The blade of the facing length does not go in.")
    return opened, lengths[:, None] / now[1] * (stops[0] / stops[1:])


def _weigh(
    question: EffortQuestion, mean: RailLine, now: tuple[float, float], shape: str
) -> Effort:
    """Return ln(effort) by tip and length, of the lay now drawn out and opened."""

    def effort(tip_mm: float, length_mm: float) -> float:
        place = np.array([tip_mm]), np.array([length_mm])
        lay = _draw_like(mean, now, question.length_gap_mm, *place)
        opened, longer = (float(factor.flat[0]) for factor in lay)
        gap = opened * np.interp(_STATIONS / longer, _STATIONS, mean.gap_mm)
        line = replace(mean, gap_mm=gap, break_mm=mean.break_mm * longer)
        return log(find_effort(line, question.kind, shape))

    return effort


def rank_lays(
    lays: Sequence[Target], kind: str, uncertainties: Uncertainties, length_gap_mm: float
) -> list[tuple[int, EffortRatio]]:
    """Return lays as they close, easiest first: each one's place in `lays`, beside the easiest.

    Each is weighed as an arc of its tip and length; the limits hold how its own curve closes, and
    what the gauges leave open. Lays that lack tip or length are left out.
    """
    question = EffortQuestion(FacingReadings(), None, kind, uncertainties, 0.0, length_gap_mm)

    def weigh(tip_mm: float, length_mm: float, shape: str = USUAL) -> float:
        arc = draw_facing(PlainFacing(length_mm, tip_mm, "arc", length_gap_mm), _STATIONS)
        return log(find_effort(arc, kind, shape))

    weighed = []
    for at, lay in enumerate(lays):
        try:
            placed = place_lay(question, lay)
            arcs = {shape: weigh(*placed, shape) for shape in SHAPES}
            own = log(find_effort(_draw_rails(lay, uncertainties)[0], kind))
        except MalformedReading:
            continue
        weighed.append((at, arcs, own, _tell_u(question, placed, weigh)))
    weighed.sort(key=lambda row: row[1][USUAL])
    ranked = []
    for at, arcs, own, u in weighed:
        _, easiest, first_own, first_u = weighed[0]
        reeds = {shape: arcs[shape] - easiest[shape] for shape in SHAPES}
        ranked.append((at, limit_ratio(reeds, [own - first_own], hypot(u, first_u))))
    return ranked


def map_effort(question: EffortQuestion) -> EffortMap:
    """Draw up the map; raises MalformedReading where the lay now can't be placed on it."""
    now = place_lay(question, question.now)
    target = place_lay(question, question.target) if question.target else None
    points = [now, target or now]
    pad = max(0.14, 0.09 * now[0]), 1.6
    lows, highs = (
        [end(point[i] for point in points) + sign * pad[i] for i in (0, 1)]
        for end, sign in ((min, -0.6), (max, 1.0))
    )
    lines = _draw_rails(question.now, question.uncertainties)
    effort = _weigh(question, lines[0], now, USUAL)
    nodes = [np.linspace(lows[i], highs[i], NODES) for i in (0, 1)]
    fine = [np.linspace(lows[i], highs[i], FINE) for i in (0, 1)]
    # the logarithm is so nearly plane that a cubic through few places is as good as all of them
    spread = [make_interp_spline(nodes[i], np.eye(NODES), k=3)(fine[i]) for i in (0, 1)]
    coarse = np.array([[effort(tip, length) for tip in nodes[0]] for length in nodes[1]])
    change = spread[1] @ (coarse - effort(*now)) @ spread[0].T
    return EffortMap(
        tuple(fine[0].tolist()), tuple(fine[1].tolist()),
        tuple(map(tuple, (100.0 * np.expm1(change)).tolist())),
        tuple(map(tuple, _spare(question, lines, now, *fine).tolist())),
        now, target,
    )  # fmt: skip


def _spare(
    question: EffortQuestion,
    lines: tuple[RailLine, Array],
    now: tuple[float, float],
    tips: Array,
    lengths: Array,
) -> Array:
    """Return the least of (lay − rails now) up to each lay's facing length, (lengths, tips)."""
    places = np.linspace(0.0, float(lengths[-1]), 60)
    mean, highest = lines
    opened, longer = _draw_like(mean, now, question.length_gap_mm, tips, lengths)
    lays = opened[:, None] * np.interp(places / longer[..., None], _STATIONS, mean.gap_mm)
    lays = lays - np.interp(places, _STATIONS, highest)
    above = np.where((places <= lengths[:, None])[:, None, :], lays, np.inf)
    return np.asarray(above.min(axis=-1) + question.tolerance_mm + _SLACK_MM)


def find_alike(
    question: EffortQuestion, given_mm: float, at: int
) -> tuple[float, float, float] | None:
    """Return what goes with a tip (`at` `TIP`) or a length so that it closes as now, and within.

    The other one in mm, and its 95 % limits from the readings now and the shapes of reed. None
    where no usual lay does.
    """
    now = place_lay(question, question.now)
    middle, step = now[1 - at], 1e-3 * now[1 - at]
    by_shape: dict[str, float] = {}
    mean, _ = _draw_rails(question.now, question.uncertainties)
    for shape in SHAPES:
        effort = _weigh(question, mean, now, shape)
        as_now = effort(*now)

        def miss(sought: float, effort: Effort = effort, as_now: float = as_now) -> float:
            return effort(*((given_mm, sought) if at == TIP else (sought, given_mm))) - as_now

        try:
            by_shape[shape] = float(brentq(miss, 0.6 * middle, 1.6 * middle, xtol=1e-3))
        except (ValueError, MalformedReading):
            return None
        if shape == USUAL:
            slope = (miss(by_shape[shape] + step) - miss(by_shape[shape] - step)) / (2.0 * step)
            u = _tell_u(question, now, effort) / abs(slope)
    sought = by_shape[USUAL]
    below, above = (
        K_95 * hypot(u, (far(by_shape.values()) - sought) / sqrt(3.0)) for far in (min, max)
    )
    return sought, sought - below, sought + above


def _tell_u(question: EffortQuestion, now: tuple[float, float], effort: Effort) -> float:
    """Return the standard uncertainty of ln(effort) now, from its tip and length as read."""
    tip_u = question.now.tip_u_mm or question.uncertainties.tip_mm
    length_u = question.uncertainties.position_mm / sqrt(2.0)
    here = effort(*now)
    return hypot(effort(now[0] + tip_u, now[1]) - here, effort(now[0], now[1] + length_u) - here)


@dataclass(frozen=True, slots=True)
class AlikeRow:
    """One lay that closes as now, as printed: what was given, what goes with it, within what."""

    given: str
    found: str
    limits: str


def list_alike(question: EffortQuestion, glass: Scale) -> list[AlikeRow]:
    """List lengths for a few tips and tips for a few lengths, the target's own among them.

    Raises MalformedReading where the lay now has no tip opening or facing length.
    """
    now = place_lay(question, question.now)
    aim = place_lay(question, question.target) if question.target else now

    def tell(at: int, mm: float) -> str:
        if at == TIP:
            return f"tip {format_mm(mm)} mm"
        number = format_number(to_scale(mm, glass), 1)
        return f"length {format_mm(mm, 1)} mm ({number} on the glass)"

    rows = []
    for at, step in ((TIP, 0.05), (LENGTH, 0.5)):
        own = abs(aim[at] - now[at]) > step / 5.0
        steps = [now[at] + step, now[at] + 2.0 * step]
        given = [mm for mm in steps if not own or abs(mm - aim[at]) > step / 5.0]
        for mm in sorted([aim[at], *given] if own else given):
            if alike := find_alike(question, mm, at):
                sought, *limits = alike
                low, high = (format_mm(limit, 1 if at == TIP else 2) for limit in limits)
                words = tell(at, mm) + (", as the target" if own and mm == aim[at] else "")
                rows.append(AlikeRow(words, tell(1 - at, sought), f"{low} to {high} mm"))
    return rows
