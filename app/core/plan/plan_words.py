"""A removal plan said in plain words: what it comes to, what to beware of, what to do in turn."""

from app.core.plan.plan_values import (
    DONE,
    RAILS,
    TABLE,
    UNTOLD,
    WORTH_CUTTING_MM,
    ExpectedReadings,
    PlanRequest,
    PlanStep,
    RemovalPlan,
    StationCut,
)
from app.core.plan.zones import facing_length, zone_of
from app.core.values.units import format_number

# two rails that must lose the same to within this are worked in one go
TOGETHER_MM = 0.010
HEADINGS = {
    DONE: "Within tolerance: nothing needs to be cut",
    RAILS: "Rails alone",
    TABLE: "Table first, then the rails",
    UNTOLD: "Rails first; the table only if it still asks for it",
}
ZONE_WORDS = {"tip": "at the tip", "middle": "in the middle", "heel": "at the heel"}


CHECK_WORDS = {
    RAILS: "Read every blade on both rails and the tip opening again, clean, and play-test.",
    DONE: "Nothing to cut. Read once more to be sure, and play-test.",
    UNTOLD: "Read every blade and the tip again: only then decide about the table.",
}


def tell_length(length_mm: float) -> str:
    """Write a depth of cut to the hundredth, which is what a wedge shows and a hand can work to."""
    return f"{length_mm:.2f} mm" if abs(length_mm) >= 0.005 else "less than 0.01 mm"


def _tell_typed(length_mm: float) -> str:
    return f"{format_number(length_mm, 3, least=2)} mm"


def _tell_or_nothing(length_mm: float) -> str:
    return tell_length(length_mm) if length_mm >= 0.0005 else "nothing"


def summarise_plan(plan: RemovalPlan, request: PlanRequest) -> str:
    """Say in a sentence or three whether the rails alone can do it, and what the table loses."""
    table, tolerance = plan.table, request.tolerance_mm
    exact = tell_length(table.exact.at(table.break_mm))
    come_to = plan.comes_to
    if request.settled:
        return "Both rails and the tip read within tolerance: nothing needs to be cut."
    if come_to == UNTOLD:
        low, high = table.untold.at(table.break_mm), table.most.at(table.break_mm)
        return (
            f"The table may have to lose {tell_length(low)} (at most {tell_length(high)}), but the "
            "gauges can't tell that from nothing: work the rails where they need it, read again, "
            "and only then decide about the table."
        )
    if come_to != TABLE:
        if table.exact.none:
            if come_to == DONE:
                return "Nothing to cut: the piece is there already."
            return "The rails alone can do it: the table stays as it is."
        can = "nothing needs to be cut" if come_to == DONE else "the rails alone can do it"
        return (
            f"Within the tolerance of {_tell_typed(tolerance)} {can}. "
            f"To be exact the table would have to lose {exact}."
        )
    words = f"The table must lose {tell_length(table.at_break_mm)} first"
    if table.planned.per_mm:
        words += f" where the facing starts and {_tell_or_nothing(table.at_end_mm)} at its end"
    low, high = table.least.at(table.break_mm), table.most.at(table.break_mm)
    words += f": at least {_tell_or_nothing(low)}, at most {tell_length(high)}, by the gauges."
    if table.saved_mm > 0:
        words += (
            f" To be exact it would be {exact}; the tolerance of {_tell_typed(tolerance)} "
            f"saves {tell_length(table.saved_mm)}."
        )
    nearest = plan.nearest_without_table
    words += f" The rails alone would come to a tip opening of {nearest.tip_opening_mm:.2f} mm"
    if nearest.facing_length_mm is not None:
        words += f" and a facing length of {nearest.facing_length_mm:.1f} mm"
    return f"{words}."


def list_cautions(plan: RemovalPlan, request: PlanRequest) -> tuple[str, ...]:
    """List what to think of before the first pass; empty if there is nothing."""
    cautions = [*_caution_readings(plan, request), *_caution_limits(plan, request)]
    return tuple(cautions)


def _caution_readings(plan: RemovalPlan, request: PlanRequest) -> list[str]:
    cautions = []
    for rail, other in (("left", "right"), ("right", "left")):
        if not getattr(request.now, rail):
            cautions.append(
                f"The {rail} rail was not read: this plan is for the {other} rail only."
            )
    if request.now.tip_opening_mm is None:
        cautions.append(
            "The tip opening was not read: it is taken from where the rails point. "
            "Read it before cutting."
        )
    for rail, curve in plan.now_curve.items():
        if curve is None and len(getattr(request.now, rail)) > 1:
            cautions.append(
                f"The {rail} rail is planned from reading to reading, as no plain curve could be "
                "judged to fit: one reading out of place would be cut for. Take them again first."
            )
    if plan.table.uneven_tip and not plan.table.most.none:
        allowed = ", which “at most” allows for" if plan.comes_to in {TABLE, UNTOLD} else ""
        cautions.append(
            "The rails are uneven as far as the thickest blade goes, and the tip is read once for "
            f"both: one rail may stand higher there than it was read{allowed}."
        )
    wanted = {stop.gap_mm: stop.position_mm for stop in plan.target_positions}
    for rail in ("left", "right"):
        length = _find_stop(plan.after_rails, rail, request.length_gap_mm)
        goal = wanted.get(request.length_gap_mm)
        if length is not None and goal is not None and length - goal > 0.5:
            cautions.append(
                f"Within the tolerance, the {rail} rail's facing length would still be "
                f"{length - goal:.1f} mm long."
            )
    return cautions


def _find_stop(readings: ExpectedReadings, rail: str, gap_mm: float) -> float | None:
    stops = getattr(readings, rail)
    return next((stop.position_mm for stop in stops if stop.gap_mm == gap_mm), None)


def _caution_limits(plan: RemovalPlan, request: PlanRequest) -> list[str]:
    limits, table = request.limits, plan.table
    deepest_table = max(table.at_break_mm, table.at_end_mm)
    deepest_rail = plan.deepest_mm
    cautions = []
    if limits.most_table_mm is not None and deepest_table > limits.most_table_mm:
        cautions.append(
            f"The table would lose {tell_length(deepest_table)}, more than the shop's limit of "
            f"{_tell_typed(limits.most_table_mm)}."
        )
    if limits.table_allowance_mm is not None and deepest_table > limits.table_allowance_mm:
        cautions.append(
            f"The shank allows the table to lose {_tell_typed(limits.table_allowance_mm)}: this "
            f"plan takes {tell_length(deepest_table)}."
        )
    if limits.most_rail_mm is not None and deepest_rail > limits.most_rail_mm:
        cautions.append(
            f"A rail would lose {tell_length(deepest_rail)}, more than the shop's limit of "
            f"{_tell_typed(limits.most_rail_mm)}."
        )
    if limits.window_end_mm is not None:
        open_at = [
            station.position_mm
            for station in (*plan.left, *plan.right)
            if station.final_mm > WORTH_CUTTING_MM and station.position_mm >= limits.window_end_mm
        ]
        if open_at:
            cautions.append(
                f"The facing would start {max(open_at):.1f} mm from the tip, beyond the window's "
                f"lower edge at {limits.window_end_mm:.1f} mm: it would leak there."
            )
    return cautions


def write_steps(plan: RemovalPlan) -> tuple[PlanStep, ...]:
    """Write the steps in the order they are done, each with the readings to expect after it."""
    steps = []
    if plan.comes_to == TABLE:
        steps.append(PlanStep("table", _tell_table(plan), plan.after_table))
    rails = {rail: stations for rail in ("left", "right") if (stations := getattr(plan, rail))}
    worked = {
        rail: stations
        for rail, stations in rails.items()
        if max(station.cut_mm for station in stations) >= WORTH_CUTTING_MM
    }
    if worked:
        steps.append(PlanStep("rails", _tell_rails(plan, rails, worked), plan.after_rails))
    steps.append(
        PlanStep(
            "check",
            CHECK_WORDS[UNTOLD if plan.comes_to == UNTOLD else RAILS if steps else DONE],
            plan.after_rails,
        )
    )
    return tuple(steps)


def _tell_table(plan: RemovalPlan) -> str:
    table = plan.table
    words = f"Table, flat on the plate: take off {tell_length(table.at_break_mm)}"
    if table.planned.per_mm:
        more = "front" if table.at_break_mm > table.at_end_mm else "end"
        words += (
            f" where the facing starts and {_tell_or_nothing(table.at_end_mm)} at its end, "
            f"bearing on the {more}"
        )
    first = table.least.at(table.break_mm)
    if first >= WORTH_CUTTING_MM:
        return (
            f"{words}. Go to {tell_length(first)} and read again before the rest: the readings "
            "may be off by that much, and what is off the table stays off."
        )
    return f"{words}, a few strokes at a time, reading again after each spell."


def _tell_rails(
    plan: RemovalPlan,
    rails: dict[str, tuple[StationCut, ...]],
    worked: dict[str, tuple[StationCut, ...]],
) -> str:
    length = facing_length(plan)
    apart = (
        max(abs(a.cut_mm - b.cut_mm) for a, b in zip(plan.left, plan.right, strict=True))
        if len(rails) == 2
        else 0.0
    )
    if len(worked) == 2 and apart <= TOGETHER_MM:
        words = f"Both rails together: {_tell_cut(plan.left, length)}."
    else:
        sentences = [
            f"{rail.capitalize()} rail: {_tell_cut(stations, length)}."
            if rail in worked
            else f"Leave the {rail} rail alone."
            for rail, stations in rails.items()
        ]
        words = " ".join(sentences)
    at_tip = max(stations[0].cut_mm for stations in rails.values())
    if at_tip >= WORTH_CUTTING_MM:
        words += f" Tip rail: {tell_length(at_tip)}, with the rails."
    if plan.tip_rail_wider_mm:
        words += f" The tip rail comes out {plan.tip_rail_wider_mm:.2f} mm wider."
    if plan.shorter_mm:
        words += f" The piece comes out {plan.shorter_mm:.2f} mm shorter."
    return words


def _tell_cut(stations: tuple[StationCut, ...], length_mm: float) -> str:
    """Say what comes off each third of a rail, tip first, and how sure the deepest is."""
    parts = []
    for zone, where in ZONE_WORDS.items():
        here = [s.cut_mm for s in stations if zone_of(s.position_mm, length_mm) == zone]
        here = here if zone != "heel" else [cut for cut in here if cut > 0]
        depth = stations[0].cut_mm if zone == "tip" else sum(here) / max(len(here), 1)
        if depth >= 0.005:
            parts.append(f"{tell_length(depth)} {where}")
    deepest = max(stations, key=lambda station: station.cut_mm)
    doubt = f"give or take {tell_length(2 * deepest.u_mm)}, as the gauges tell it"
    return f"{', '.join(parts) or tell_length(deepest.cut_mm)}; {doubt}"
