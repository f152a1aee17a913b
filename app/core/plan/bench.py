"""At the bench: what is left on each blade, what a spell took, and when to stop.

Readings are compared with the target blade by blade. Where a blade stops, the gap is the
blade's thickness; the target's gap at that same place less the blade is the height still to
be cut from the rail there (or, if negative, how far the rail is too open already). The same
comparison of two readings around some strokes tells what those strokes took.
"""

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass
from math import hypot

import numpy as np

from app.core.facing.analysis import MalformedReading
from app.core.facing.stations import RailLine, line_of_readings, make_stations
from app.core.facing.suspects import Stops, leave_out, say_again, suspects_of
from app.core.plan.facings import (
    RAILS,
    FacingTolerance,
    Target,
    draw_target,
    read_tip,
    target_stops,
)
from app.core.plan.plan_values import RemovalPlan
from app.core.plan.removal import RemovalPair, make_kind
from app.core.plan.zones import facing_length, zone_of
from app.core.values.passes import CUT_KINDS
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties

FURTHEST_MM = 60.0
TIP_CUTS = ("tilted", "tip_rail")


@dataclass(frozen=True, slots=True)
class BladeLeft:
    """One blade on one rail against the target, or the tip (`rail` "tip", `gap_mm` None).

    `away_mm` is read less wanted, along the glass (of the tip: in gap). `height_mm` is what the
    rail must still lose there, negative if it is too open; `u_mm` its standard uncertainty and
    `away_u_mm` that of `away_mm`. `state` is "within", "cut" or "open" (only the
    table can bring it back).
    """

    rail: str
    gap_mm: float | None
    target_mm: float | None
    away_mm: float | None
    height_mm: float
    u_mm: float
    state: str
    away_u_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class BenchState:
    """All blades and the tip; `stop` when both rails and the tip are read and within tolerance.

    `unread` names what of these was not read, `again` what is to be read again: nothing is said
    of that, and it is no time to stop.
    """

    blades: tuple[BladeLeft, ...]
    stop: bool
    words: str
    unread: tuple[str, ...] = ()
    again: Stops = frozenset()


@dataclass(frozen=True, slots=True)
class Depth:
    """A depth in mm with its standard uncertainty."""

    mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class LoggedPass:
    """A pass in a job's log: a key of `CUT_KINDS`, its abrasive and grit, and its strokes."""

    cut: str
    abrasive: str
    grit: str
    strokes: float | None


def judge_bench(
    target: Target,
    now: FacingReadings,
    tolerance: FacingTolerance,
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
    step_mm: float = 0.0,
) -> BenchState:
    """Compare readings with the target, blade by blade.

    A blade is within tolerance if it is along the glass and in the gap, where those are given;
    without any, if its height is nothing the gauges can tell (2u). No tolerance is narrower than
    half of `step_mm`, the step the glass is read to: the number nearest to the target is as near
    as can be read. A reading to be taken again is left out. Raises MalformedReading.
    """
    again = suspects_of(now, uncertainties)
    now = leave_out(now, again)
    if not (now.left or now.right) and now.tip_opening_mm is None:
        raise MalformedReading("now", "Give the readings of a rail or the tip opening.")
    stations = make_stations(FURTHEST_MM, ())
    blades = []
    for rail in RAILS:
        stops: tuple[BladeStop, ...] = getattr(now, rail)
        if not stops:
            continue
        line = draw_target(target, rail, stations, uncertainties)
        typed = {stop.gap_mm: stop.position_mm for stop in target_stops(target, rail)}
        blades += [
            _judge_stop(rail, stop, line, typed.get(stop.gap_mm), tolerance, uncertainties, step_mm)
            for stop in stops
        ]
    tip, wanted_tip = read_tip(now, uncertainties), target.tip_opening_mm
    if tip is not None and wanted_tip is not None:
        height = wanted_tip - tip[0]
        limit = tolerance.tip_mm if tolerance.tip_mm is not None else tolerance.gap_mm
        within = abs(height) <= (2 * tip[1] if limit is None else limit) + 1e-9
        state = _name_state(height, within)
        blades.append(BladeLeft("tip", None, wanted_tip, -height, height, tip[1], state, tip[1]))
    read = {blade.rail for blade in blades}
    wanted = {"left": "left rail", "right": "right rail"}
    if wanted_tip is not None:
        wanted["tip"] = "tip opening"
    unread = tuple(name for rail, name in wanted.items() if rail not in read)
    all_within = all(blade.state == "within" for blade in blades)
    stop = not (unread or again) and all_within
    words = _tell_state(blades, stop, unread)
    if again and all_within:
        words = f"Read {say_again(again)} again: all else is within tolerance."
    return BenchState(tuple(blades), stop, words, unread, again)


def _judge_stop(
    rail: str,
    stop: BladeStop,
    line: RailLine,
    typed_mm: float | None,
    tolerance: FacingTolerance,
    uncertainties: Uncertainties,
    step_mm: float,
) -> BladeLeft:
    drawn = line.stop(stop.gap_mm)
    wanted = drawn if typed_mm is None else typed_mm
    # where the target's own reading is told, the line is read as if it passed through it
    shift = 0.0 if typed_mm is None or drawn is None else drawn - typed_mm
    place = stop.position_mm + shift
    height = float(np.interp(place, line.stations_mm, line.gap_mm)) - stop.gap_mm
    u = _height_u(stop, line, place, uncertainties)
    away_u = _away_u(stop, line, place, uncertainties, same_blade=typed_mm is not None)
    away = None if wanted is None else stop.position_mm - wanted
    checks = []
    if tolerance.position_mm is not None and away is not None:
        checks.append(abs(away) <= max(tolerance.position_mm, 0.51 * step_mm) + 1e-9)
    if tolerance.gap_mm is not None:
        finest = 0.51 * step_mm * _slope_at(line, place)
        checks.append(abs(height) <= max(tolerance.gap_mm, finest) + 1e-9)
    within = all(checks) if checks else abs(height) <= 2 * u
    state = _name_state(height, within)
    return BladeLeft(rail, stop.gap_mm, wanted, away, height, u, state, away_u)


def _height_u(
    stop: BladeStop, line: RailLine, place_mm: float, uncertainties: Uncertainties
) -> float:
    """Carry a blade's uncertainty into height: u² = (slope·u_position)² + u_gap²."""
    position_u, gap_u = _stop_u(stop, uncertainties)
    return hypot(_slope_at(line, place_mm) * position_u, gap_u)


def _away_u(
    stop: BladeStop,
    line: RailLine,
    place_mm: float,
    uncertainties: Uncertainties,
    *,
    same_blade: bool,
) -> float:
    """How sure a stop is along the glass: u² = u_position² + (u_gap/slope)².

    Against a target that was itself told by where this blade stops, the blade's own error is
    common to both and cancels.
    """
    position_u, gap_u = _stop_u(stop, uncertainties)
    slope = _slope_at(line, place_mm)
    return position_u if same_blade or slope < 1e-6 else hypot(position_u, gap_u / slope)


def _stop_u(stop: BladeStop, uncertainties: Uncertainties) -> tuple[float, float]:
    position_u = uncertainties.position_mm if stop.position_u_mm is None else stop.position_u_mm
    return position_u, uncertainties.gap_mm if stop.gap_u_mm is None else stop.gap_u_mm


def _slope_at(line: RailLine, place_mm: float) -> float:
    ends = np.interp([place_mm - 0.5, place_mm + 0.5], line.stations_mm, line.gap_mm)
    return float(ends[0] - ends[1])


def _name_state(height_mm: float, within: bool) -> str:
    if within:
        return "within"
    return "cut" if height_mm > 0 else "open"


def _tell_state(blades: Sequence[BladeLeft], stop: bool, unread: Sequence[str]) -> str:
    if stop:
        return "Stop: within tolerance."
    if all(blade.state == "within" for blade in blades):
        return f"Within tolerance as far as it was read; read the {' and the '.join(unread)} too."
    if any(blade.state == "open" for blade in blades):
        return "Somewhere it is too open already: the rails cannot mend that. Look at the plan."
    return "Still to cut."


def left_for_cut(cut: str, plan: RemovalPlan, state: BenchState) -> Depth | None:
    """Tell how much one kind of cut still has to take; None where readings do not tell.

    Flat cuts: what the table must lose by the plan. A rail, or a third of it: the mean height over
    its blades still to be cut, nothing if there is none. Toward the tip: what the tip lacks.
    """
    if cut in ("flat", "table"):
        table = plan.table
        width_mm = table.most.at(table.break_mm) - table.least.at(table.break_mm)
        return Depth(table.at_break_mm, width_mm / 4.0)
    rail, zone = _rail_and_zone(cut)
    length = facing_length(plan)
    blades = [
        blade
        for blade in state.blades
        if blade.rail == ("tip" if cut in TIP_CUTS else rail)
        and (not zone or zone_of(blade.target_mm or 0.0, length) == zone)
    ]
    if not blades:
        return None
    working = [blade for blade in blades if blade.state == "cut"] or blades
    return _mean_depth([(blade.height_mm, blade.u_mm) for blade in working])


def measure_depth(
    cut: str,
    before: FacingReadings,
    after: FacingReadings,
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
) -> Depth | None:
    """Tell what was taken between two measurements by one kind of cut; None if not told.

    Flat cuts: the mean gap lost, over all blades and the tip. A rail: the mean gap gained over
    its blades. Toward the tip: what the tip opening gained. Blades are read against the line
    of the readings before; from one that is to be read again nothing is learnt.
    """
    tips = read_tip(before, uncertainties), read_tip(after, uncertainties)
    tip_gain = []
    if tips[0] is not None and tips[1] is not None:
        tip_gain = [(tips[1][0] - tips[0][0], hypot(tips[0][1], tips[1][1]))]
    if cut in TIP_CUTS:
        return _mean_depth(tip_gain)
    before, after = (leave_out(read, suspects_of(read, uncertainties)) for read in (before, after))
    rail, zone = _rail_and_zone(cut)
    if rail:
        return _mean_depth(list(_gains(rail, before, after, uncertainties, zone)))
    if cut in ("flat", "table"):
        gains = tip_gain + [
            gain for rail in RAILS for gain in _gains(rail, before, after, uncertainties)
        ]
        return _mean_depth([(-gain, u) for gain, u in gains])
    return None


def _rail_and_zone(cut: str) -> tuple[str, str]:
    kind = CUT_KINDS.get(cut)
    return (kind.rail, kind.zone) if kind else ("", "")


def _gains(
    rail: str,
    before: FacingReadings,
    after: FacingReadings,
    uncertainties: Uncertainties,
    zone: str = "",
) -> Iterator[tuple[float, float]]:
    """The gap gained at each blade of a rail, or of a third, with its uncertainty."""
    stops = getattr(before, rail)
    length = max((stop.position_mm for stop in stops), default=0.0)
    try:
        line = line_of_readings(
            stops,
            read_tip(before, uncertainties),
            None,
            uncertainties,
            make_stations(FURTHEST_MM, (stop.position_mm for stop in stops)),
        )
    except ValueError:
        return
    for stop in getattr(after, rail):
        if zone and zone_of(stop.position_mm, length) != zone:
            continue
        was = float(np.interp(stop.position_mm, line.stations_mm, line.gap_mm))
        u = _height_u(stop, line, stop.position_mm, uncertainties)
        yield stop.gap_mm - was, hypot(u, u)


def _mean_depth(parts: Sequence[tuple[float, float]]) -> Depth | None:
    if not parts:
        return None
    depths, us = zip(*parts, strict=True)
    return Depth(sum(depths) / len(depths), hypot(*us) / len(us))


def bracket_passes(
    log: Sequence[FacingReadings | LoggedPass],
    material: str,
    job: str = "",
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
) -> tuple[RemovalPair, ...]:
    """Find the pairs in one job's log, in the order things were done.

    Passes between two measurements make a pair if they were all of one kind, abrasive and grit
    and their strokes were counted; left and right rail are told apart, so they may be worked in
    one spell. Anything else between the readings leaves no one to ascribe the depth to.
    """
    pairs: list[RemovalPair] = []
    before: FacingReadings | None = None
    between: list[LoggedPass] = []
    for entry in log:
        if isinstance(entry, LoggedPass):
            between.append(entry)
            continue
        if before is not None:
            pairs += _pair_up(before, entry, between, material, job, uncertainties)
        before, between = entry, []
    return tuple(pairs)


def _told_apart(cuts: Set[str]) -> bool:
    """Say whether readings tell apart what these kinds took: other rails, or other thirds."""
    places = [_rail_and_zone(cut) for cut in cuts]
    whole = {rail for rail, zone in places if not zone}
    return all(rail and (not zone or rail not in whole) for rail, zone in places)


def _pair_up(
    before: FacingReadings,
    after: FacingReadings,
    passes: Sequence[LoggedPass],
    material: str,
    job: str,
    uncertainties: Uncertainties,
) -> Iterator[RemovalPair]:
    cuts = {done.cut for done in passes}
    if len(cuts) > 1 and not _told_apart(cuts):
        return
    for cut in sorted(cuts):
        own = [done for done in passes if done.cut == cut]
        kinds = {make_kind(done.cut, done.abrasive, done.grit, material) for done in own}
        strokes = [done.strokes for done in own if done.strokes]
        depth = measure_depth(cut, before, after, uncertainties)
        if len(kinds) == 1 and len(strokes) == len(own) and depth is not None:
            yield RemovalPair(kinds.pop(), sum(strokes), depth.mm, job)
