"""A job's plan: whether rails alone do it, what the table loses, what to read after each step."""

from typing import Any

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.facing.analysis import MalformedReading
from app.core.facing.measurements import GaugesInUse, write_line
from app.core.facing.suspects import say_again
from app.core.plan.effort_map import AlikeRow, EffortQuestion, list_alike, map_effort
from app.core.plan.facings import Target, place_target
from app.core.plan.next_pass import head_plan
from app.core.plan.piece_limits import parse_limits
from app.core.plan.plan_tables import (
    list_check_rows,
    list_cut_rows,
    list_figures,
    list_steps,
    list_unread_words,
    list_worked_rails,
    rails_alike,
)
from app.core.plan.shown import Showing, write_shown
from app.core.plan.targets import tell_tolerance
from app.core.values.pieces import CAUTION_DEFERS, MATERIAL_CAUTIONS
from app.render.cut import CutPicture, CutRail, CutSize, draw_cut
from app.render.effort_map import EffortPicture, draw_effort_map
from app.render.scales import Size
from app.store.records.revisions import save_entry
from app.store.tables import Job
from app.web.drawn import answer_picture
from app.web.facing.pictures import blade_levels
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    found_or_404,
    go_to,
    job_or_404,
    show_page,
)
from app.web.plan.planning import (
    JobPlan,
    aim_at_plan,
    ask_effort,
    gauges_for,
    limits_of,
    plan_job,
    tell_as_planned,
    tell_strokes,
)

router = APIRouter(prefix="/jobs/{number}/plan")
SIZES: dict[str, CutSize] = {"paper": "paper", "pair": "pair", "small": "small"}


@router.get("")
def show(request: Request, session: ReadOnly, number: int) -> HTMLResponse:
    """Show the plan, or what is missing for one."""
    return _page(request, session, job_or_404(session, number), Form())


def _page(request: Request, session: Session, job: Job, form: Form) -> HTMLResponse:
    gauges = gauges_for(session, job.piece.instrument_kind)
    planned = plan_job(session, job)
    return show_page(
        request,
        "plans/show.html",
        form=form,
        job=job,
        gauges=gauges,
        planned=planned,
        limits=limits_of(job.piece),
        caution=f"{MATERIAL_CAUTIONS[job.piece.material]} {CAUTION_DEFERS}",
        feel=_tell_feel(ask_effort(session, job), gauges),
        as_planned=tell_as_planned(session, job, planned),
        **tell_plan(session, job, planned),
    )


def _tell_feel(question: EffortQuestion | None, gauges: GaugesInUse) -> list[AlikeRow] | None:
    """List what would close a reed as now; None where that can't be worked out."""
    if question is None:
        return None
    try:
        return list_alike(question, gauges.glass)
    except MalformedReading:
        return None


def tell_plan(session: Session, job: Job, planned: JobPlan) -> dict[str, Any]:
    """Write a job's plan as the page and the bench sheet print it."""
    facing, plan, last = planned.facing, planned.plan, planned.last
    showing, gauges = planned.showing, planned.showing.gauges
    values: dict[str, Any] = {
        "target_line": _show_target(facing.target, showing) if facing else "",
        "tolerance": tell_tolerance(facing.tolerance, gauges.glass) if facing else "",
        "now_line": write_line(last.recorded, gauges) if last else "",
    }
    if plan is None or last is None or planned.state is None:
        return values
    return values | {
        "heading": head_plan(plan, planned.state),
        "again": say_again(planned.state.again),
        "figures": list_figures(plan, showing),
        "steps": list_steps(
            plan, showing, tell_strokes(session, job, aim_at_plan(session, job, planned))
        ),
        "check_rows": list_check_rows(plan, last.recorded, showing),
        "unread": list_unread_words(plan, last.trusted, gauges.glass),
        "cut_rows": list_cut_rows(plan, gauges.glass),
        "pictures": ["both"] if rails_alike(plan) else list_worked_rails(plan),
    }


def _show_target(target: Target, showing: Showing) -> str:
    """Write a target as the gauges in use will show it, beside what they read."""
    gaps = [blade.gap_mm for blade in showing.gauges.blades]
    return write_shown(showing.show(place_target(target, gaps)), showing.gauges)


@router.get("/feel.svg")
def feel(request: Request, session: ReadOnly, number: int, size: str = "screen") -> Response:
    """Draw which tips and lengths close a reed as the piece does now."""
    question = found_or_404(
        ask_effort(session, job_or_404(session, number)), "It was not read yet."
    )
    drawn: Size = "small" if size == "small" else "screen"
    try:
        return answer_picture(
            request,
            ("feel", question, drawn),
            lambda: draw_effort_map(EffortPicture(map_effort(question), size=drawn)),
        )
    except MalformedReading as error:
        raise HTTPException(404, str(error)) from error


@router.get("/{rail}.svg")
def cut(
    request: Request, session: ReadOnly, number: int, rail: CutRail, size: str = "screen"
) -> Response:
    """Draw what comes off one rail, or off both where they are alike."""
    job = job_or_404(session, number)
    planned = plan_job(session, job)
    found_or_404(planned.plan, "There is no plan to draw yet.")
    gauges = gauges_for(session, job.piece.instrument_kind)
    picture = found_or_404(
        _cut_picture(planned, rail, gauges, SIZES.get(size, "screen")), "That rail was not read."
    )
    return answer_picture(request, picture, lambda: draw_cut(picture))


def draw_cut_of(planned: JobPlan, rail: CutRail, gauges: GaugesInUse, size: CutSize) -> str:
    """Draw one picture of a plan for a paper; raises ValueError for a rail that was not read."""
    picture = _cut_picture(planned, rail, gauges, size)
    if picture is None:
        raise ValueError("that rail was not read")
    return draw_cut(picture).decode()


def _cut_picture(
    planned: JobPlan, rail: CutRail, gauges: GaugesInUse, size: CutSize
) -> CutPicture | None:
    side = "right" if rail == "right" else "left"
    stations = getattr(planned.plan, side)
    if not stations:
        return None
    now = planned.last.trusted if planned.last else None
    return CutPicture(
        rail=rail,
        stations=stations,
        stops=getattr(now, side) if now else (),
        tip_mm=now.tip_opening_mm if now else None,
        blades=blade_levels(gauges, *([now] if now else [])),
        glass_mm_per_number=float(gauges.glass.mm_per_unit),
        size=size,
    )


@router.post("/piece")
def update_piece(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Keep what the plan must know of the piece."""
    job = job_or_404(session, number)
    limits = parse_limits(form.values)
    if form.is_refused(limits):
        return _page(request, session, job, form)
    save_entry(session, job.piece, limits, None, settings.now())
    session.commit()
    return go_to(f"/jobs/{number}/plan?said=piece#piece")
