"""Works that are no cut, noted on a job's page and struck out there."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.core.jobs.stages import PASS
from app.core.values.works import parse_work
from app.store.records.jobs import move_on
from app.store.records.passes import add_work, strike_pass
from app.store.records.shop import get_shop, list_checklist
from app.web.jobs.jobs import job_page
from app.web.pages import (
    SettingsDep,
    Typed,
    Writing,
    commit_once,
    found_or_404,
    go_to,
    job_or_404,
    refuse_twice,
)

router = APIRouter(prefix="/jobs/{number}/works")


@router.post("")
def create(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Note a work that is no cut."""
    job = job_or_404(session, number)
    refuse_twice(session, form)
    entry = parse_work(
        form.values,
        list_checklist(session, "work"),
        job.piece.instrument_kind,
        settings.today(),
        get_shop(session).currency,
        job.dropped_off,
    )
    if form.is_refused(entry):
        return job_page(request, session, job, form)
    add_work(session, job, entry, settings.now())
    move_on(session, job, PASS, entry.done_on, settings.now())
    return commit_once(session, form, f"/jobs/{number}?said=work#works", settings.now())


@router.post("/{work_id}/strike")
def strike(
    session: Writing, form: Typed, settings: SettingsDep, number: int, work_id: int
) -> Response:
    """Strike a work out, or bring it back; its price goes and comes with it."""
    job = job_or_404(session, number)
    kept = found_or_404(
        next((work for work in job.works if work.id == work_id), None), "There is no such work."
    )
    if form.get("do") == "bring_back":
        strike_pass(kept, None)
    elif kept.struck_at is None:
        strike_pass(kept, settings.now())
    session.commit()
    return go_to(f"/jobs/{number}#works")
