"""What if: before anything is agreed, what it would take and how it would feel, side by side."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import log
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.core.compare.differences import take_facing
from app.core.compare.effort import compare_efforts
from app.core.compare.effort_words import say_effort
from app.core.facing.analysis import MalformedReading
from app.core.facing.measurements import GaugesInUse, write_line
from app.core.facing.suspects import say_again
from app.core.plan.effort_map import rank_lays
from app.core.plan.facings import (
    THINNEST_MM,
    FacingTolerance,
    PlainFacing,
    Target,
    common_gaps,
    place_target,
)
from app.core.plan.plan import plan_removal
from app.core.plan.shown import NOT_IN, Showing, write_blade, write_shown
from app.core.plan.what_if import Wish, alter, parse_wish, say_reach
from app.core.values.forms import Refused
from app.core.values.readings import FacingReadings
from app.core.values.units import format_on_scale
from app.store.records.facings import list_facings
from app.store.records.measurements import Measurement
from app.store.records.shop import get_shop
from app.store.tables import Job
from app.web.pages import Form, ReadOnly, job_or_404, show_page
from app.web.plan.planning import (
    find_loose_table,
    find_showing,
    gauges_of,
    last_read,
    make_request,
    refuse_loose_table,
    usual_tolerance,
)

router = APIRouter(prefix="/jobs/{number}/what-if")
# asked at once where nothing is typed: half a tenth more open, and a number longer with it
FIRST_WISHES = (Wish(opened_mm=0.05), Wish(opened_mm=0.05, longer_mm=0.5), Wish(longer_mm=0.5))
MOST_FACINGS = 4
# what is spoken of, and beside what
TARGET = ("it", "as it does now")


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer: its numbers, what it takes, how it feels, and the target's form to choose it."""

    name: str
    line: str
    reach: str
    nearest: str
    feel: str
    fields: tuple[tuple[str, str], ...]


@router.get("")
def show(
    request: Request,
    session: ReadOnly,
    number: int,
    opened: Annotated[str, Query(max_length=40)] = "",
    longer: Annotated[str, Query(max_length=40)] = "",
    evened: Annotated[str, Query(max_length=8)] = "",
) -> HTMLResponse:
    """Show what it would take to open, lengthen or even the piece, and how it would feel."""
    job = job_or_404(session, number)
    last = last_read(job)
    gauges = gauges_of(session, job, last)
    form = Form(values={"opened": opened, "longer": longer, "evened": evened})
    wish = parse_wish(form.values)
    if isinstance(wish, Refused):
        form.problems, wish = dict(wish.problems), Wish()
    return show_page(
        request,
        "plans/what_if.html",
        form=form,
        job=job,
        last=last,
        asked=wish != Wish(),
        choices=list(_list_choices(session, job, last, gauges, wish)) if last else [],
        now_line=write_line(last.recorded, gauges) if last else "",
        again=say_again(last.suspects) if last else "",
        loose=refuse_loose_table(table, last) if last and (table := find_loose_table(job)) else "",
    )


def _list_choices(
    session: Session, job: Job, last: Measurement, gauges: GaugesInUse, wish: Wish
) -> Iterator[Choice]:
    """List the typed wish alone, or the first wishes and the shop's facings that feel nearest."""
    gaps = [blade.gap_mm for blade in gauges.blades]
    now = last.trusted
    uneven = [stop.position_mm for stop in now.left] != [stop.position_mm for stop in now.right]
    evened = [Wish(evened=True)] if uneven and now.left and now.right else []
    wishes = [wish] if wish != Wish() else [*FIRST_WISHES, *evened]
    for asked in wishes:
        try:
            target = alter(now, asked, gaps, last.uncertainties)
        except (MalformedReading, ValueError):
            continue
        fields = (
            ("target", "line"),
            ("line", _write_line(target, Showing(gauges))),
            ("blade_set", str(gauges.blade_set_id or "")),
        )
        yield _answer(session, job, last, gauges, (asked.words, target), fields)
    if wish != Wish():
        return
    library = list_facings(session, job.piece.instrument_kind)
    lays: list[Target] = [now, *(facing.target for facing in library)]
    gap = min(common_gaps(now), default=THINNEST_MM)
    efforts = dict(rank_lays(lays, job.piece.instrument_kind, last.uncertainties, gap))
    if 0 not in efforts:
        return
    as_now = efforts.pop(0).ratio
    nearest = sorted(efforts, key=lambda at: abs(log(efforts[at].ratio / as_now)))[:MOST_FACINGS]
    for at in nearest:
        facing = library[at - 1]
        lay = facing.target
        if isinstance(lay, PlainFacing):
            lay = place_target(lay, gaps)
        name = f"same facing as {facing.name}"
        if at == nearest[0] and len(nearest) > 1:
            name += ": the shop’s nearest to how this one feels"
        yield _answer(
            session, job, last, gauges, (name, lay),
            (("target", f"facing-{facing.id}"),), facing.tolerance,
        )  # fmt: skip


def _write_line(facing: FacingReadings, showing: Showing) -> str:
    """Write a facing as a line is typed, every blade of the set in it.

    With what is known of the gauges' sizes it is what they will read; without, what a target's
    line means, which is told for blades of the marked size.
    """
    shown, gauges = showing.show(facing), showing.gauges
    numbers = [
        write_blade(shown, blade.gap_mm, gauges.glass) or NOT_IN
        for blade in reversed(gauges.blades)
    ]
    tip = "" if shown.tip is None else f" / {format_on_scale(shown.tip.mm, gauges.tip)}"
    return f"{' '.join(numbers)}{tip}"


def _answer(
    session: Session,
    job: Job,
    last: Measurement,
    gauges: GaugesInUse,
    named: tuple[str, FacingReadings],
    fields: tuple[tuple[str, str], ...],
    tolerance: FacingTolerance | None = None,
) -> Choice:
    name, target = named
    shop, showing = get_shop(session), find_showing(session, gauges)
    nearest = ""
    try:
        request = make_request(target, tolerance or usual_tolerance(shop), last, job.piece, shop)
        plan = plan_removal(request)
        reach = say_reach(plan)
        if not plan.rails_only:
            near = showing.show(plan.nearest_without_table.readings)
            nearest = write_shown(near, gauges)
    except MalformedReading as error:
        reach = str(error)
    try:
        kind = job.piece.instrument_kind
        sides = (take_facing(facing, last.uncertainties) for facing in (last.trusted, target))
        feel = say_effort(compare_efforts(*sides, kind), TARGET)
    except MalformedReading as error:
        feel = str(error)
    return Choice(name, _write_line(target, showing), reach, nearest, feel, fields)
