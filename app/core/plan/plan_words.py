"""A removal plan said in plain words: what it comes to, what to beware of, what to do in turn."""

from app.core.plan.plan_values import (
    ExpectedReadings,
    PlanRequest,
    PlanStep,
    RemovalPlan,
    StationCut,
)

# two rails that must lose the same to within this are worked in one go
TOGETHER_MM = 0.010
# less than this is not worth a step of its own
WORTH_CUTTING_MM = 0.002


def tell_length(length_mm: float) -> str:
    """Write a depth of cut: two decimals from a tenth of a millimetre, three below."""
    return f"{length_mm:.2f} mm" if abs(length_mm) >= 0.0995 else f"{length_mm:.3f} mm"


def _tell_or_nothing(length_mm: float) -> str:
    return tell_length(length_mm) if length_mm >= 0.0005 else "nothing"


def summarise_plan(plan: RemovalPlan, request: PlanRequest) -> str:
    """Say in a sentence or three whether the rails alone can do it, and what the table loses."""
    table, tolerance = plan.table, request.tolerance_mm
    deepest = max(station.cut_mm for station in (*plan.left, *plan.right))
    if plan.rails_only:
        if table.exact.none:
            if deepest < WORTH_CUTTING_MM:
                return "Nothing to cut: the piece is there already."
            return "The rails alone can do it: the table stays as it is."
        exact = tell_length(table.exact.at(table.break_mm))
        return (
            f"Within the tolerance of {tell_length(tolerance)} the rails alone can do it. "
            f"To be exact the table would have to lose {exact}."
        )
    words = f"The table must lose {tell_length(table.at_break_mm)} first"
    if table.planned.per_mm:
        words += f" where the facing starts and {_tell_or_nothing(table.at_end_mm)} at its end"
    low, high = table.least.at(table.break_mm), table.most.at(table.break_mm)
    words += f": at least {tell_length(low)}, at most {tell_length(high)}, as the gauges tell it."
    if table.saved_mm > 0:
        exact = tell_length(table.exact.at(table.break_mm))
        words += (
            f" To be exact it would be {exact}; the tolerance of {tell_length(tolerance)} "
            f"saves {tell_length(table.saved_mm)}."
        )
    if table.least.none:
        words += (
            " The gauges cannot tell this from nothing: work the rails first where they need it, "
            "read again, and only then decide about the table."
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
        cautions.append(
            "The rails are uneven as far as the thickest blade goes, and the tip is read once for "
            "both: one rail may stand higher there than it was read, which “at most” reckons with."
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
    deepest_rail = max(station.cut_mm for station in (*plan.left, *plan.right))
    cautions = []
    if limits.most_table_mm is not None and deepest_table > limits.most_table_mm:
        cautions.append(
            f"The table would lose {tell_length(deepest_table)}, more than the shop's limit of "
            f"{tell_length(limits.most_table_mm)}."
        )
    if limits.table_allowance_mm is not None and deepest_table > limits.table_allowance_mm:
        cautions.append(
            f"The shank allows the table to lose {tell_length(limits.table_allowance_mm)}: this "
            f"plan takes {tell_length(deepest_table)}."
        )
    if limits.most_rail_mm is not None and deepest_rail > limits.most_rail_mm:
        cautions.append(
            f"A rail would lose {tell_length(deepest_rail)}, more than the shop's limit of "
            f"{tell_length(limits.most_rail_mm)}."
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
    if not plan.rails_only:
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
            "Read every blade on both rails and the tip opening again, clean, and play-test."
            if steps
            else "Nothing to cut. Read once more to be sure, and play-test.",
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
    apart = (
        max(abs(a.cut_mm - b.cut_mm) for a, b in zip(plan.left, plan.right, strict=True))
        if len(rails) == 2
        else 0.0
    )
    if len(worked) == 2 and apart <= TOGETHER_MM:
        words = f"Both rails together: {_tell_cut(plan.left)}."
    else:
        told = [
            f"{rail.capitalize()} rail: {_tell_cut(stations)}."
            if rail in worked
            else f"Leave the {rail} rail alone."
            for rail, stations in rails.items()
        ]
        words = " ".join(told)
    at_tip = max(stations[0].cut_mm for stations in rails.values())
    if at_tip >= WORTH_CUTTING_MM:
        words += f" Tip rail: {tell_length(at_tip)}, with the rails."
    if plan.tip_rail_wider_mm:
        words += f" The tip rail comes out {plan.tip_rail_wider_mm:.2f} mm wider."
    if plan.shorter_mm:
        words += f" The piece comes out {plan.shorter_mm:.2f} mm shorter."
    return words


def _tell_cut(stations: tuple[StationCut, ...]) -> str:
    """Say where a rail's cut is deepest, how sure that is, and where it runs from and to."""
    deepest = max(stations, key=lambda station: station.cut_mm)
    cut = [station for station in stations if station.cut_mm >= WORTH_CUTTING_MM]
    low = max(0.0, deepest.cut_mm - 2 * deepest.u_mm)
    where = (
        "at the tip" if deepest.position_mm == 0 else f"{deepest.position_mm:.1f} mm from the tip"
    )
    start = "from the tip to" if cut[0].position_mm < 0.5 else f"from {cut[0].position_mm:.1f} to"
    return (
        f"{tell_length(deepest.cut_mm)} where it is deepest, {where} (the gauges say "
        f"{tell_length(low)} to {tell_length(deepest.cut_mm + 2 * deepest.u_mm)}), "
        f"{start} {cut[-1].position_mm:.1f} mm, where it fades out"
    )
