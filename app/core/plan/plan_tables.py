"""A removal plan as the page and the bench sheet print it: lines and tables of finished words.

Numbers to check stand in the shop's own glass numbers, thin to thick like a notebook's line, so
that what is read at the bench is compared with what is written, figure by figure.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.core.facing.measurements import GaugesInUse
from app.core.plan.plan_values import (
    ExpectedReadings,
    ExpectedStop,
    PlanRequest,
    RemovalPlan,
    StationCut,
)
from app.core.plan.plan_words import WORTH_CUTTING_MM, tell_length
from app.core.plan.targets import format_stop
from app.core.values.readings import BladeStop, FacingReadings
from app.core.values.units import Scale, format_blade, format_number, format_on_scale, to_scale

# two rails that lose the same to within this show one picture and one column
ALIKE_MM = 0.003


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step: its heading, what to do, and the line to read after it (empty: nothing to read)."""

    key: str
    heading: str
    words: str
    line: str


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One blade through the plan, as glass numbers "left/right" or one for both."""

    blade: str
    now: str
    after_table: str
    after_rails: str
    target: str


@dataclass(frozen=True, slots=True)
class CutRow:
    """What comes off each rail at one glass number, in µm; empty for a rail not read."""

    number: str
    left: str
    right: str


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of the plan: label, value, and a note below it."""

    label: str
    value: str
    note: str


STEP_HEADINGS = {"table": "Table first", "rails": "Rails", "check": "Check"}


def write_expected(readings: ExpectedReadings | FacingReadings, gauges: GaugesInUse) -> str:
    """Write expected readings as a notebook line, thin to thick: 30 21.2 11.6 4.4 / 1.04."""
    left, right = _by_blade(readings.left), _by_blade(readings.right)
    gaps = sorted({*left, *right}, reverse=not gauges.thin_first)
    words = [_pair(left, right, gap, gauges.glass) for gap in gaps]
    line = " ".join(words)
    if readings.tip_opening_mm is not None:
        line += f" / {format_on_scale(readings.tip_opening_mm, gauges.tip)}"
    return line.strip()


Stops = dict[float, float | None]


def _by_blade(stops: Sequence[ExpectedStop | BladeStop]) -> Stops:
    return {stop.gap_mm: stop.position_mm for stop in stops}


def _pair(left: Stops, right: Stops, gap_mm: float, glass: Scale) -> str:
    """Write where a blade stops on both rails: one number if they are alike or only one is told."""
    written = [
        "–" if rail.get(gap_mm) is None else format_stop(rail[gap_mm] or 0.0, glass)
        for rail in (left, right)
        if rail
    ]
    return written[0] if len(set(written)) == 1 else "/".join(written)


def list_steps(plan: RemovalPlan, gauges: GaugesInUse) -> tuple[StepLine, ...]:
    """List the steps in order, each with the line to read after it."""
    return tuple(
        StepLine(
            step.key,
            STEP_HEADINGS[step.key],
            step.words,
            write_expected(step.expect, gauges) if step.expect else "",
        )
        for step in plan.steps
    )


def list_check_rows(
    plan: RemovalPlan, request: PlanRequest, gauges: GaugesInUse
) -> tuple[CheckRow, ...]:
    """List each blade's numbers now, after the table, in the end and wanted.

    Thick to thin, the order of the bench; the tip last.
    """
    columns = (request.now, plan.after_table, plan.after_rails, plan.target)
    sides = [(_by_blade(one.left), _by_blade(one.right)) for one in columns]
    gaps = sorted({gap for left, right in sides[1:] for gap in (*left, *right)}, reverse=True)
    rows = [
        CheckRow(
            format_blade(gap),
            *(
                _pair(left, right, gap, gauges.glass) if gap in left or gap in right else ""
                for left, right in sides
            ),
        )
        for gap in gaps
    ]
    tips = (
        "" if one.tip_opening_mm is None else format_on_scale(one.tip_opening_mm, gauges.tip)
        for one in columns
    )
    return (*rows, CheckRow("Tip opening", *tips))


def list_cut_rows(plan: RemovalPlan, glass: Scale) -> tuple[CutRow, ...]:
    """List what comes off each rail at every few glass numbers, as far as anything does."""
    rails = [rail for rail in (plan.left, plan.right) if rail]
    end_mm = max(
        (one.position_mm for rail in rails for one in rail if one.cut_mm >= 0.001), default=0.0
    )
    if end_mm == 0.0:
        return ()
    last = to_scale(end_mm, glass)
    step = next(one for one in (1, 2, 5, 10, 20, 50) if last / one <= 11)
    numbers = [*range(0, int(last) + 1, step)]
    return tuple(
        CutRow(
            "0 (tip)" if number == 0 else str(number),
            *(_cut_um(rail, number * float(glass.mm_per_unit)) for rail in (plan.left, plan.right)),
        )
        for number in numbers
    )


def _cut_um(stations: Sequence[StationCut], position_mm: float) -> str:
    if not stations:
        return ""
    s_mm = [one.position_mm for one in stations]
    cut = float(np.interp(position_mm, s_mm, [one.cut_mm for one in stations]))
    return format_number(cut * 1000, 0)


def rails_alike(plan: RemovalPlan) -> bool:
    """Tell whether both rails lose the same, so that one picture serves for both."""
    if not (plan.left and plan.right):
        return False
    return all(
        abs(one.cut_mm - other.cut_mm) <= ALIKE_MM and abs(one.now_mm - other.now_mm) <= ALIKE_MM
        for one, other in zip(plan.left, plan.right, strict=True)
    )


def list_worked_rails(plan: RemovalPlan) -> list[str]:
    """Name the rails the plan changes; all that were read where it changes none."""
    read = [rail for rail in ("left", "right") if getattr(plan, rail)]
    if not plan.rails_only:
        return read
    worked = [
        rail for rail in read if max(one.cut_mm for one in getattr(plan, rail)) >= WORTH_CUTTING_MM
    ]
    return worked or read


def list_figures(plan: RemovalPlan, gauges: GaugesInUse) -> tuple[Figure, ...]:
    """List the plan's figures: off the table with its ends, off the rails, what is saved."""
    figures = [_figure_table(plan), _figure_rail(plan, gauges)]
    table = plan.table
    if table.saved_mm > 0.0005:
        exact = tell_length(table.exact.at(table.break_mm))
        note = f"to be exact the table would lose {exact}"
        figures.append(Figure("The tolerance saves", tell_length(table.saved_mm), note))
    if not plan.rails_only:
        line = write_expected(plan.nearest_without_table.readings, gauges)
        figures.append(
            Figure("The rails alone would reach", line, "the nearest without touching the table")
        )
    return (*figures, *_list_edges(plan))


def _figure_table(plan: RemovalPlan) -> Figure:
    table = plan.table
    if plan.rails_only:
        return Figure("Off the table", "nothing", "the rails alone can do it")
    low, high = (tell_length(cut.at(table.break_mm)) for cut in (table.least, table.most))
    return Figure(
        "Off the table", tell_length(table.at_break_mm), f"at least {low}, at most {high}"
    )


def _figure_rail(plan: RemovalPlan, gauges: GaugesInUse) -> Figure:
    deepest = max((*plan.left, *plan.right), key=lambda one: one.cut_mm)
    if deepest.cut_mm < 0.001:
        return Figure("Off the rails", "nothing", "")
    low = max(0.0, deepest.cut_mm - 2 * deepest.u_mm)
    high = deepest.cut_mm + 2 * deepest.u_mm
    where = format_stop(deepest.position_mm, gauges.glass)
    return Figure(
        "Off a rail where it is deepest",
        tell_length(deepest.cut_mm),
        f"at {where} on the glass; at least {tell_length(low)}, at most {tell_length(high)}",
    )


def _list_edges(plan: RemovalPlan) -> list[Figure]:
    return [
        Figure(label, f"{value:.2f} mm", "with the slope given for this piece")
        for label, value in (
            ("Tip rail wider by", plan.tip_rail_wider_mm),
            ("Piece shorter by", plan.shorter_mm),
        )
        if value is not None
    ]
