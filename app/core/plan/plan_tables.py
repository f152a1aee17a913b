"""A removal plan as the page and the bench sheet print it: lines and tables of finished words.

Numbers to check stand in the shop's own glass numbers, thin to thick like a notebook's line, so
that what is read at the bench is compared with what is written, figure by figure.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.core.facing.evenness import blade_key
from app.core.facing.measurements import GaugesInUse
from app.core.facing.unread import Unread, list_unread
from app.core.plan.plan_values import (
    UNTOLD,
    WORTH_CUTTING_MM,
    RemovalPlan,
    StationCut,
)
from app.core.plan.plan_words import tell_length
from app.core.plan.shown import Showing, write_blade, write_shown, write_span
from app.core.plan.targets import format_stop
from app.core.values.readings import BladeStop, FacingReadings
from app.core.values.units import Scale, format_blade, format_number, format_on_scale, to_scale

# two rails that lose the same to within this show one picture and one column
ALIKE_MM = 0.003


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step: its heading, what to do, and the line to read after it (empty: nothing to read).

    `brief` is what to do at once, as the bench says it.
    """

    key: str
    heading: str
    words: str
    brief: str
    line: str


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One blade through the plan, as glass numbers "left/right" or one for both.

    `span` is what may be read after the next step.
    """

    blade: str
    now: str
    after_table: str
    after_rails: str
    target: str
    span: str


@dataclass(frozen=True, slots=True)
class CutRow:
    """What comes off each rail at one glass number, in 0.01 mm; empty for a rail not read."""

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


def list_steps(plan: RemovalPlan, showing: Showing, strokes: str = "") -> tuple[StepLine, ...]:
    """List the steps in order, each with the line to read after it, where that is a new one.

    `strokes` says how to begin with the rails.
    """
    lines = [
        write_shown(showing.show(step.expect), showing.gauges) if step.expect else ""
        for step in plan.steps
    ]
    return tuple(
        StepLine(
            step.key,
            STEP_HEADINGS[step.key],
            f"{step.words} {strokes}".strip() if step.key == "rails" else step.words,
            strokes or step.words if step.key == "rails" else step.words,
            line if line != before else "",
        )
        for step, line, before in zip(plan.steps, lines, ["", *lines], strict=False)
    )


def list_check_rows(
    plan: RemovalPlan, now: FacingReadings, showing: Showing
) -> tuple[CheckRow, ...]:
    """List each blade's numbers now (as typed), after the table, in the end and wanted.

    In the shop's own order of blades; the tip last.
    """
    glass, tip = showing.gauges.glass, showing.gauges.tip
    after_table, after_rails, target = (
        showing.show(readings) for readings in (plan.after_table, plan.after_rails, plan.target)
    )
    last = after_rails if plan.rails_only else after_table
    gaps = sorted({*target.left, *target.right}, reverse=not showing.gauges.thin_first)
    read = [
        {blade_key(stop.gap_mm): stop.position_mm for stop in side}
        for side in (now.left, now.right)
    ]
    rows = [
        CheckRow(
            format_blade(gap),
            "/".join(
                dict.fromkeys(
                    format_on_scale(side[blade_key(gap)], glass)
                    for side in read
                    if blade_key(gap) in side
                )
            ),
            write_blade(after_table, gap, glass),
            write_blade(after_rails, gap, glass),
            write_blade(target, gap, glass),
            write_span(last, gap, glass),
        )
        for gap in gaps
    ]
    read_tip = "" if now.tip_opening_mm is None else format_on_scale(now.tip_opening_mm, tip)
    table_tip, rails_tip, wanted_tip = (
        format_on_scale(shown.tip.mm, tip) if shown.tip else ""
        for shown in (after_table, after_rails, target)
    )
    span = write_span(last, None, tip)
    return (*rows, CheckRow("Tip opening", read_tip, table_tip, rails_tip, wanted_tip, span))


def list_unread_words(plan: RemovalPlan, now: FacingReadings, glass: Scale) -> tuple[str, ...]:
    """Say what of each rail was not read, and which blade would tell most; rails alike once."""
    said: dict[str, list[str]] = {}
    for rail in ("left", "right"):
        for unread in find_unread(getattr(plan, rail), getattr(now, rail), now.tip_opening_mm)[:1]:
            ends = [format_stop(mm, glass) for mm in (unread.from_mm, unread.to_mm)]
            words = (
                f"from {ends[0]} to {ends[1]} on the glass there is no reading to go by, and what "
                f"is planned there is a guess. A blade of about {format_blade(unread.blade_mm)} "
                "would tell most."
            )
            said.setdefault(words, []).append(rail)
    return tuple(
        f"On {'both rails' if len(rails) == 2 else f'the {rails[0]} rail'} {words}"
        for words, rails in said.items()
    )


def find_unread(
    stations: Sequence[StationCut], stops: Sequence[BladeStop], tip_mm: float | None
) -> tuple[Unread, ...]:
    """Find what of a planned rail was not read."""
    s_mm = np.array([station.position_mm for station in stations])
    return list_unread(stops, tip_mm, s_mm, np.array([station.now_mm for station in stations]))


def list_cut_rows(plan: RemovalPlan, glass: Scale) -> tuple[CutRow, ...]:
    """List what comes off each rail at every few glass numbers, as far as anything does."""
    rails = [rail for rail in (plan.left, plan.right) if rail]
    end_mm = max((s.position_mm for rail in rails for s in rail if s.cut_mm >= 0.005), default=0.0)
    if end_mm == 0.0:
        return ()
    last = to_scale(end_mm, glass)
    step = next(step for step in (1, 2, 5, 10, 20, 50) if last / step <= 11)
    numbers = [*range(0, int(last) + 1, step)]
    rows = tuple(
        CutRow(
            "0 (tip)" if number == 0 else str(number),
            *(
                _cut_hundredths(rail, number * float(glass.mm_per_unit))
                for rail in (plan.left, plan.right)
            ),
        )
        for number in numbers
    )
    return rows if any({row.left, row.right} - {"", "0"} for row in rows) else ()


def _cut_hundredths(stations: Sequence[StationCut], position_mm: float) -> str:
    if not stations:
        return ""
    s_mm = [station.position_mm for station in stations]
    cut = float(np.interp(position_mm, s_mm, [station.cut_mm for station in stations]))
    return format_number(cut * 100, 0)


def rails_alike(plan: RemovalPlan) -> bool:
    """Tell whether both rails lose the same, so that one picture serves for both."""
    if not (plan.left and plan.right):
        return False
    return all(
        abs(left.cut_mm - right.cut_mm) <= ALIKE_MM and abs(left.now_mm - right.now_mm) <= ALIKE_MM
        for left, right in zip(plan.left, plan.right, strict=True)
    )


def list_worked_rails(plan: RemovalPlan) -> list[str]:
    """Name the rails the plan changes; all that were read where it changes none."""
    read = [rail for rail in ("left", "right") if getattr(plan, rail)]
    if not plan.rails_only:
        return read
    worked = [
        rail for rail in read if max(s.cut_mm for s in getattr(plan, rail)) >= WORTH_CUTTING_MM
    ]
    return worked or read


def list_figures(plan: RemovalPlan, showing: Showing) -> tuple[Figure, ...]:
    """List the plan's figures: off the table with its ends, off the rails, what is saved."""
    figures = [_figure_table(plan), _figure_rail(plan, showing.gauges)]
    table = plan.table
    if table.saved_mm >= 0.005:
        exact = tell_length(table.exact.at(table.break_mm))
        note = f"to be exact the table would lose {exact}"
        figures.append(Figure("The tolerance saves", tell_length(table.saved_mm), note))
    if not plan.rails_only:
        line = write_shown(showing.show(plan.nearest_without_table.readings), showing.gauges)
        figures.append(
            Figure("The rails alone would reach", line, "the nearest without touching the table")
        )
    return (*figures, *_list_edges(plan))


def _figure_table(plan: RemovalPlan) -> Figure:
    table = plan.table
    if plan.comes_to == UNTOLD:
        most = tell_length(table.most.at(table.break_mm))
        return Figure("Off the table", "nothing yet", f"at most {most}; read again before deciding")
    if plan.rails_only:
        return Figure("Off the table", "nothing", "")
    low, high = (tell_length(cut.at(table.break_mm)) for cut in (table.least, table.most))
    return Figure(
        "Off the table", tell_length(table.at_break_mm), f"at least {low}, at most {high}"
    )


def _figure_rail(plan: RemovalPlan, gauges: GaugesInUse) -> Figure:
    deepest = max((*plan.left, *plan.right), key=lambda station: station.cut_mm)
    if deepest.cut_mm < WORTH_CUTTING_MM:
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
