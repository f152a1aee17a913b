"""The removal plan: what the table and each rail must lose to get from one facing to another.

Material can only be taken away. Each rail is laid out as a line of stations, now and as wanted;
where it is higher now than wanted, only lowering the table brings it down, and the least such
cut is sought. What is then missing is cut from the rails: exactly, or, within a tolerance, with
the fewest bends. The table is spared what the tolerance allows on the open side.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite, radians, tan

import numpy as np

from app.core.facing.analysis import MalformedReading, check_readings
from app.core.facing.fits import CurveFit
from app.core.facing.rails import judge_rail
from app.core.facing.stations import RailLine, line_of_readings, make_stations, stop_blade
from app.core.plan.bends import bend_least
from app.core.plan.cuts import (
    NEGLIGIBLE_MM,
    NO_CUT,
    Array,
    TableCut,
    allow_tail,
    cut_rail,
    find_least_table,
    lower_gap,
)
from app.core.plan.facings import (
    RAILS,
    PlainFacing,
    common_gaps,
    draw_facing,
    read_tip,
    solve_facing,
    target_stops,
)
from app.core.plan.plan_values import (
    ExpectedReadings,
    ExpectedStop,
    NearestFacing,
    PlanRequest,
    RemovalPlan,
    StationCut,
    TableStep,
)
from app.core.plan.plan_words import list_cautions, summarise_plan, write_steps
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties

# no woodwind's table is longer, and stations are laid all the way along it
LONGEST_TABLE_MM = 200.0
# standard uncertainties by which two rails, read with some four blades, differ for sure (95 %)
TOLD_APART = 2.5


@dataclass(frozen=True, slots=True)
class _RailWork:
    """One rail's lines: now, wanted, and the most gap allowed once the table is down."""

    now: RailLine
    target: RailLine
    allowed: Array
    tail_from_mm: float

    def excess(self, tolerance_mm: float, deviations: float = 0.0) -> Array:
        """How much the rail is too open for the target, at each station.

        `deviations` shifts the rail by so many of its standard uncertainties where it was read.
        """
        read = (self.now.stations_mm <= self.tail_from_mm) | (deviations < 0)
        shift = deviations * np.where(read, self.now.u_mm, 0.0)
        wanted = np.maximum(self.target.gap_mm + tolerance_mm, self.allowed)
        return self.now.gap_mm + shift - wanted

    def room(self, lowered_mm: Array, request: PlanRequest) -> tuple[Array, Array]:
        """The least and the most that may come off this rail at each station.

        Within the tolerance in gap, that along the glass and that of the tip; beyond the facing
        length no further than the blade that reads it allows.
        """
        s_mm, target = self.now.stations_mm, self.target.gap_mm
        low, high = np.zeros_like(target), np.full_like(target, np.inf)
        if request.tolerance_mm > 0:
            low, high = target - request.tolerance_mm, target + request.tolerance_mm
        if along := request.position_tolerance_mm:
            steep = (target[0] - target[1]) / (s_mm[1] - s_mm[0])
            before = np.interp(s_mm - along, s_mm, target) + steep * np.maximum(0.0, along - s_mm)
            low = np.maximum(low, np.interp(s_mm + along, s_mm, target, right=0.0))
            high = np.minimum(high, before)
        if request.tip_tolerance_mm is not None:
            low[0] = max(low[0], target[0] - request.tip_tolerance_mm)
            high[0] = min(high[0], target[0] + request.tip_tolerance_mm)
        tail = s_mm >= self.tail_from_mm
        high[tail] = np.minimum(high[tail], self.allowed[tail])
        return cut_rail(lowered_mm, np.minimum(low, high)), cut_rail(lowered_mm, high)


def plan_removal(request: PlanRequest) -> RemovalPlan:
    """Plan the least removal from `request.now` to `request.target`.

    The readings are laid out twice, as the plain curves they follow and from reading to reading,
    and the layout that costs the table less is planned by: a second spell at the plate can take
    more, none can put it back. Raises MalformedReading, in words and with the field, for
    numbers that cannot be, and for readings too few to plan by.
    """
    _check_request(request)
    layouts = _lay_out(request)
    tables = [_plan_table(request, layout) for layout in layouts]
    costs = [table.at_break_mm + table.at_end_mm for table in tables]
    # the first, by curves, unless the other saves something that can be cut
    best = 1 if costs[-1] < costs[0] - NEGLIGIBLE_MM else 0
    table = replace(
        tables[best],
        least=min((table.least for table in tables), key=lambda cut: cut.at(tables[0].break_mm)),
        most=max((table.most for table in tables), key=lambda cut: cut.at(tables[0].break_mm)),
    )
    now_curve = {rail: lines.now.curve for rail, lines in layouts[0].items()}
    plan = _describe_plan(request, layouts[best], _spare(request, table), now_curve)
    if table.planned.none or not table.least.none or request.settled or request.spare_untold:
        return plan
    # the numbers are the least cut's, but what nobody can tell from nothing is no step
    spared = _spare(replace(request, spare_untold=True), table)
    return replace(plan, steps=_describe_plan(request, layouts[best], spared, now_curve).steps)


def _spare(request: PlanRequest, table: TableStep) -> TableStep:
    """Leave the table alone where nothing is to be cut, or nothing that can be told."""
    if request.settled:
        return replace(table, planned=NO_CUT)
    if request.spare_untold and table.least.none and not table.planned.none:
        return replace(table, planned=NO_CUT, untold=table.planned)
    return table


def _plan_table(request: PlanRequest, layout: Mapping[str, _RailWork]) -> TableStep:
    stations = next(iter(layout.values())).now.stations_mm
    break_mm = max(rail.now.break_mm for rail in layout.values())
    if break_mm >= request.table_end_mm:
        raise MalformedReading(
            "table_end_mm",
            f"By these readings the facing starts {break_mm:.1f} mm from the tip, beyond the "
            "table's end: look at the thinnest blades again, or say how long the table is.",
        )

    higher, uneven = _find_uneven_tip(request, layout)

    def least(tolerance_mm: float, deviations: float) -> TableCut:
        excess = np.max([rail.excess(tolerance_mm, deviations) for rail in layout.values()], axis=0)
        excess += max(0.0, deviations / 2.0) * higher
        return find_least_table(
            stations, excess, break_mm, request.table_end_mm, request.tilt_limit_mm_per_mm
        )

    tolerance = request.tolerance_mm
    planned = least(tolerance, 0.0)
    return TableStep(
        planned=planned,
        exact=least(0.0, 0.0) if tolerance > 0 else planned,
        least=least(tolerance, -2.0) if not planned.none else NO_CUT,
        most=least(tolerance, 2.0),
        break_mm=break_mm,
        end_mm=request.table_end_mm,
        uneven_tip=uneven,
    )


def _find_uneven_tip(request: PlanRequest, layout: Mapping[str, _RailWork]) -> tuple[Array, bool]:
    """Tell how much higher than read a rail may stand near the tip, and whether the rails differ.

    The tip is read once for both rails. Where they differ at the thickest blade and nothing says
    that they meet before the tip, the higher one stands above the reading by half of that.
    """
    stations = next(iter(layout.values())).now.stations_mm
    if len(layout) < 2 or request.now.tip_opening_mm is None:
        return np.zeros_like(stations), False
    nearest = max(min(s.position_mm for s in getattr(request.now, rail)) for rail in layout)
    left, right = (
        (float(np.interp(nearest, stations, rail.now.gap_mm)),
         float(np.interp(nearest, stations, rail.now.u_mm)))
        for rail in layout.values()
    )  # fmt: skip
    apart = abs(left[0] - right[0])
    share = np.clip(1.0 - stations / nearest, 0.0, 1.0) if nearest > 0 else 0.0 * stations
    return share * apart / 2.0, apart > 2.0 * float(np.hypot(left[1], right[1]))


def _check_request(request: PlanRequest) -> None:
    for name, what, most in (
        ("length_gap_mm", "The blade that reads the facing length", 5.0),
        ("table_end_mm", "The distance from the tip to the table's end", LONGEST_TABLE_MM),
    ):
        value = getattr(request, name)
        if not (isfinite(value) and 0 < value <= most):
            raise MalformedReading(name, f"{what} must be more than zero, up to {most:g} mm.")
    for name, what in (("tilt_limit_mm_per_mm", "The tilt"), ("tolerance_mm", "The tolerance")):
        value = getattr(request, name)
        if not (isfinite(value) and 0 <= value <= 1):
            raise MalformedReading(name, f"{what} must be from zero to 1.")
    for name, what in (
        ("position_tolerance_mm", "along the glass"),
        ("tip_tolerance_mm", "the tip"),
    ):
        value = getattr(request, name)
        if value is not None and not (isfinite(value) and 0 <= value <= 5):
            raise MalformedReading(name, f"The tolerance of {what} must be from zero to 5.")
    for name, what in (("tip_slope_deg", "the tip rail"), ("beak_slope_deg", "the beak")):
        value = getattr(request, name)
        if value is not None and not (isfinite(value) and 0 < value < 90):
            raise MalformedReading(
                name, f"The slope of {what} must be between 0 and 90 degrees, not counting either."
            )
    _check_readings("now", request.now, request.uncertainties)
    if isinstance(request.target, FacingReadings):
        _check_readings("target", request.target, request.uncertainties)
    else:
        solve_facing(request.target)


def _check_readings(where: str, readings: FacingReadings, uncertainties: Uncertainties) -> None:
    try:
        check_readings(readings, uncertainties)
    except MalformedReading as error:
        raise MalformedReading(f"{where}.{error.field}", str(error)) from error
    if not (readings.left or readings.right):
        raise MalformedReading(where, "Give the readings of at least one rail.")


def _lay_out(request: PlanRequest) -> list[dict[str, _RailWork]]:
    """Bring every rail that was read, and its target, to one row of stations.

    Gives the layout by curves and, if any rail follows one, that from reading to reading as well.
    """
    now = {rail: getattr(request.now, rail) for rail in RAILS if getattr(request.now, rail)}
    wanted = {rail: target_stops(request.target, rail) for rail in now}
    fits = _choose_fits(request, now, wanted)
    places = [stop.position_mm for stops in (*now.values(), *wanted.values()) for stop in stops]
    places += [fit.parameters["break_mm"] for pair in fits.values() for fit in pair if fit]
    if isinstance(request.target, PlainFacing):
        places += [request.target.facing_length_mm, solve_facing(request.target).break_mm]
    stations = make_stations(request.table_end_mm, places)
    layouts: list[dict[str, _RailWork]] = []
    for chosen in (fits, dict.fromkeys(fits, (None, None))):
        if layouts and chosen == fits:
            break
        layout: dict[str, _RailWork] = {}
        for rail, stops in now.items():
            here = _draw(request, "now", rail, stops, chosen[rail][0], stations)
            there = _draw(request, "target", rail, wanted[rail], chosen[rail][1], stations)
            layout[rail] = _join_lines(here, there, request.length_gap_mm)
        layouts.append(layout)
    return layouts


def _draw(
    request: PlanRequest,
    where: str,
    rail: str,
    stops: Sequence[BladeStop],
    fit: CurveFit | None,
    stations: Array,
) -> RailLine:
    facing: FacingReadings | PlainFacing = getattr(request, where)
    if isinstance(facing, PlainFacing):
        return draw_facing(facing, stations)
    tip = read_tip(facing, request.uncertainties)
    try:
        return line_of_readings(stops, tip, fit, request.uncertainties, stations)
    except ValueError as error:
        raise MalformedReading(f"{where}.{rail}", f"The {rail} rail: {error}") from error


def _join_lines(now: RailLine, target: RailLine, blade_mm: float) -> _RailWork:
    length = target.stop(blade_mm)
    if length is None:
        return _RailWork(now, target, target.gap_mm, now.break_mm)
    further = max(now.break_mm, target.break_mm)
    allowed = allow_tail(now.stations_mm, target.gap_mm, length, blade_mm, further)
    return _RailWork(now, target, allowed, length)


def _choose_fits(
    request: PlanRequest,
    now: Mapping[str, tuple[BladeStop, ...]],
    wanted: Mapping[str, tuple[BladeStop, ...]],
) -> dict[str, tuple[CurveFit | None, CurveFit | None]]:
    """Choose, for each rail, the curves of now and target: for both, or for neither.

    Two ways of drawing the same readings differ by some µm; a rail whose target is what it
    already reads must come out as nothing to cut.
    """
    rails: list[Sequence[BladeStop]] = list(now.values())
    tips = [read_tip(request.now, request.uncertainties)] * len(rails)
    if isinstance(request.target, FacingReadings):
        rails += list(wanted.values())
        tips += [read_tip(request.target, request.uncertainties)] * len(now)
    fits = [
        judge_rail(stops, tip, request.uncertainties).chosen_fit
        for stops, tip in zip(rails, tips, strict=True)
    ]
    pairs: dict[str, tuple[CurveFit | None, CurveFit | None]] = {}
    for i, rail in enumerate(now):
        here = fits[i]
        if isinstance(request.target, PlainFacing):
            pairs[rail] = (here, None)
            continue
        there = fits[i + len(now)]
        pairs[rail] = (here, there) if here and there else (None, None)
    return pairs


def _describe_plan(
    request: PlanRequest,
    work: Mapping[str, _RailWork],
    table: TableStep,
    now_curve: Mapping[str, str | None],
) -> RemovalPlan:
    depths = _cut_rails(request, work, table.planned)
    cuts = {
        rail: _list_stations(lines, table.planned, depths[rail]) for rail, lines in work.items()
    }
    after_table = _expect(request, work, cuts, "after_table_mm")
    after_rails = _expect(request, work, cuts, "final_mm")
    target = _expect(request, work, cuts, "target_mm")
    tip_cut = float(np.mean([stations[0].cut_mm for stations in cuts.values()]))
    plan = RemovalPlan(
        rails_only=table.planned.none,
        table=table,
        left=cuts.get("left", ()),
        right=cuts.get("right", ()),
        now_curve=now_curve,
        after_table=after_table,
        after_rails=after_rails,
        target=target,
        target_positions=_mean_stops(target),
        nearest_without_table=_find_nearest(request, work),
        tip_rail_wider_mm=_run_out(tip_cut, request.tip_slope_deg),
        shorter_mm=_run_out(tip_cut, request.beak_slope_deg),
        summary="",
        cautions=(),
        steps=(),
    )
    return replace(
        plan,
        summary=summarise_plan(plan, request),
        cautions=list_cautions(plan, request),
        steps=write_steps(plan),
    )


def _lowered(lines: _RailWork, table: TableCut) -> Array:
    return lower_gap(lines.now.gap_mm, table.along(lines.now.stations_mm))


def _cut_rails(
    request: PlanRequest, work: Mapping[str, _RailWork], table: TableCut
) -> dict[str, Array]:
    """Choose what comes off each rail: to the target exactly, or with the fewest bends near it.

    Rails that the readings can't tell apart lose the same, if one cut serves both.
    """
    lowered = {rail: _lowered(lines, table) for rail, lines in work.items()}
    if request.settled:
        return {rail: np.zeros_like(gap) for rail, gap in lowered.items()}
    if not request.has_room:
        return {rail: cut_rail(lowered[rail], lines.target.gap_mm) for rail, lines in work.items()}
    stations = next(iter(work.values())).now.stations_mm
    rooms = {rail: lines.room(lowered[rail], request) for rail, lines in work.items()}
    low, high = (
        np.max([room[0] for room in rooms.values()], 0),
        np.min([room[1] for room in rooms.values()], 0),
    )
    if len(work) == 2 and _can_not_tell_apart(work) and (low <= high).all():
        return dict.fromkeys(work, bend_least(stations, low, high))
    return {rail: bend_least(stations, *room) for rail, room in rooms.items()}


def _can_not_tell_apart(work: Mapping[str, _RailWork]) -> bool:
    left, right = (lines.now for lines in work.values())
    apart = np.abs(left.gap_mm - right.gap_mm)
    return bool((apart <= TOLD_APART * np.hypot(left.u_mm, right.u_mm) + NEGLIGIBLE_MM).all())


def _list_stations(lines: _RailWork, table: TableCut, cut: Array) -> tuple[StationCut, ...]:
    stations, now, target = lines.now.stations_mm, lines.now.gap_mm, lines.target.gap_mm
    lowered = _lowered(lines, table)
    columns = (stations, now, lowered, target, lowered + cut, cut, lines.now.u_mm)
    return tuple(StationCut(*map(float, row)) for row in zip(*columns, strict=True))


def _expect(
    request: PlanRequest,
    work: Mapping[str, _RailWork],
    cuts: Mapping[str, tuple[StationCut, ...]],
    column: str,
) -> ExpectedReadings:
    """The readings to expect on the lines in `column`.

    A reading and the curve it was taken for differ a little; what is expected keeps that
    difference, so that a rail left alone is expected to read as it did, and one that ends on a
    target told by readings to read as they were told.
    """
    readings: list[FacingReadings] = [request.now]
    if isinstance(request.target, FacingReadings):
        readings.append(request.target)
    gaps = sorted({*common_gaps(*readings), request.length_gap_mm})
    expected: dict[str, tuple[ExpectedStop, ...]] = {"left": (), "right": ()}
    tips = []
    for rail, lines in work.items():
        places = lines.now.stations_mm
        heights = np.array([getattr(station, column) for station in cuts[rail]])
        after_rails = column != "after_table_mm"
        line = lines.target if after_rails else lines.now
        told_stops = (
            target_stops(request.target, rail) if after_rails else getattr(request.now, rail)
        )
        typed = {stop.gap_mm: stop.position_mm for stop in told_stops}
        stops = []
        for gap in gaps:
            position = stop_blade(places, heights, gap)
            drawn = line.stop(gap)
            if position is not None and drawn is not None and gap in typed:
                position = max(0.0, position + typed[gap] - drawn)
            stops.append(ExpectedStop(gap, position))
        expected[rail] = tuple(stops)
        tips.append(float(heights[0]))
    return ExpectedReadings(expected["left"], expected["right"], float(np.mean(tips)))


def _mean_stops(readings: ExpectedReadings) -> tuple[ExpectedStop, ...]:
    """Join both rails' stops into one row; a blade that stops on neither has no position."""
    rails = [rail for rail in (readings.left, readings.right) if rail]
    joined = []
    for stops in zip(*rails, strict=True):
        read = [stop.position_mm for stop in stops if stop.position_mm is not None]
        joined.append(ExpectedStop(stops[0].gap_mm, float(np.mean(read)) if read else None))
    return tuple(joined)


def _find_nearest(request: PlanRequest, work: Mapping[str, _RailWork]) -> NearestFacing:
    """Find the facing the rails alone reach: at each place the target, or now if that is higher."""
    uncut = {
        rail: _list_stations(lines, NO_CUT, cut_rail(lines.now.gap_mm, lines.target.gap_mm))
        for rail, lines in work.items()
    }
    readings = _expect(request, work, uncut, "final_mm")
    lengths = [
        stop.position_mm
        for stop in _mean_stops(readings)
        if stop.gap_mm == request.length_gap_mm and stop.position_mm is not None
    ]
    return NearestFacing(readings.tip_opening_mm, lengths[0] if lengths else None, readings)


def _run_out(cut_mm: float, slope_deg: float | None) -> float | None:
    """How far an edge moves along the table when a slope behind it is cut down."""
    return None if slope_deg is None else cut_mm / tan(radians(slope_deg))
