"""A job's page: what is known, what comes next, passes, notes and stages."""

from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.facing.measurements import ROLES
from app.core.jobs.jobs import (
    CORK_LINES,
    TICK_KINDS,
    AgreedEntry,
    TickKind,
    parse_agreed,
    parse_note,
)
from app.core.jobs.memos import MEMO_KINDS, MemoKind
from app.core.jobs.stages import AGREED, PASS, STAGES, next_step
from app.core.values.customers import has_tenon
from app.core.values.forms import Fields
from app.core.values.passes import ABRASIVES, PassEntry, parse_pass
from app.core.values.pieces import CAUTION_DEFERS, MATERIAL_CAUTIONS
from app.store.records.charges import account_of
from app.store.records.jobs import add_event, list_order, move_job, move_on, save_agreed
from app.store.records.measurements import list_measurements
from app.store.records.memos import last_memo, list_memos, warranty_of
from app.store.records.passes import add_pass, strike_pass
from app.store.records.revisions import Conflict
from app.store.records.shop import gauges_in_use, get_shop, list_checklist
from app.store.tables import Job, Memo
from app.web.compare.comparisons import offer_comparisons
from app.web.compare.returning import gather_homecoming
from app.web.facing.drafts import take_up_draft
from app.web.facing.measurements import grid_values, job_bench, take_readings
from app.web.facing.summaries import summarise
from app.web.jobs.photos import album_photos
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    TypedWithColumns,
    Writing,
    commit_once,
    found_or_404,
    get_settings,
    go_to,
    job_or_404,
    refuse_twice,
    show_page,
)
from app.web.plan.at_bench import gather_bench
from app.web.settings import Settings

router = APIRouter(prefix="/jobs/{number}")


@router.get("")
def show(
    request: Request, session: ReadOnly, number: int, role: str = "", draft: str = ""
) -> HTMLResponse:
    """Show a job."""
    job = job_or_404(session, number)
    return job_page(request, session, job, Form(values={"role": role, "draft": draft}))


def job_page(request: Request, session: Session, job: Job, form: Form) -> HTMLResponse:
    """Show a job with a form of its page as typed."""
    shop, gauges = get_shop(session), gauges_in_use(session)
    of_piece = list_measurements(session, job.piece_id)
    of_job = [measurement for measurement in of_piece if measurement.job_number == job.number]
    sets = [summarise(measurement, gauges, shop) for measurement in of_job]
    roles = {measurement.role for measurement in of_job if measurement.replaced_by_id is None}
    panel = gather_bench(session, job)
    order = list_order(session, job)
    return show_page(
        request,
        "jobs/show.html",
        form=form,
        job=job,
        shop=shop,
        sets=sets,
        comparisons=offer_comparisons(job, of_piece),
        homecoming=gather_homecoming(session, job, of_piece, gauges),
        next_step=next_step(job.stage, roles | ({AGREED} if job.agreed_work else set())),
        own_works=list_checklist(session, "work"),
        last_pass=next((done for done in reversed(job.passes) if done.struck_at is None), None),
        abrasives=ABRASIVES,
        photos=album_photos(session, job.piece, job),
        memos=tell_memos(session, job),
        warranty=warranty_of(session, job.piece, job.dropped_off),
        account=account_of(session, order),
        order=order,
        away=last_memo(session, job.piece, job, "away"),
        caution=f"{MATERIAL_CAUTIONS[job.piece.material]} {CAUTION_DEFERS}",
        panel=panel,
        **(_bench_values(request, session, job, form, roles) if panel else {"table": None}),
    )


def _bench_values(
    request: Request, session: Session, job: Job, form: Form, roles: set[str]
) -> dict[str, Any]:
    """What the table on the page prints; a form that came back is its own or another's."""
    bench, settings = job_bench(job), get_settings(request)
    typed = form if form.get("place") == bench.action else Form()
    draft = None
    if request.method == "GET":
        typed = Form(values={"draft": form.get("draft")})
        draft = take_up_draft(session, bench.action, typed, settings)
    role = typed.get("role") or form.get("role")
    if role not in ROLES:
        role = _usual_role(job.stage, roles)
    with_bore = role != "at_the_bench"
    return grid_values(session, bench, typed, settings) | {
        "draft": draft, "role": role, "with_bore": with_bore,
    }  # fmt: skip


def _usual_role(stage: str, roles: set[str]) -> str:
    """Say what the next reading of a job at this stage is."""
    if stage == "dropped_off" or not roles:
        return "as_received"
    return "as_returned" if STAGES[stage].step > STAGES["on_the_bench"].step else "at_the_bench"


def tell_memos(session: Session, job: Job) -> list[tuple[MemoKind, Memo]]:
    """List a job's standing memos, each with its kind, newest first."""
    memos = list_memos(session, job.piece, job)
    return [(MEMO_KINDS[memo.kind], memo) for memo in memos if memo.struck_at is None]


@router.post("/now")
def create_readings(
    request: Request, session: Writing, form: TypedWithColumns, settings: SettingsDep, number: int
) -> Response:
    """Keep what was typed into the page's table."""
    job = job_or_404(session, number)
    bench = job_bench(job)
    form.values["place"] = bench.action  # of the page's forms it is the table that comes back
    kept = take_readings(session, bench, form, settings)
    return kept or job_page(request, session, job, form)


@router.post("/stage")
def move(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Move the job to a stage; with `of` the order's others that stand where it stood too."""
    job = job_or_404(session, number)
    stage = form.get("stage")
    if stage not in STAGES:
        form.problems = {"stage": "Choose the stage."}
        return job_page(request, session, job, form)
    seen = form.get("seen_stage", job.stage)
    if job.stage not in {seen, stage}:
        form.lists["seen_stage"] = [job.stage]
        request.state.back = f"/jobs/{number}"
        raise Conflict(job, {"stage": (STAGES[job.stage].label, STAGES[stage].label)})
    fields = Fields(form.values)
    on = fields.past_day("moved_on", settings.today(), "A move", job.dropped_off)
    if fields.problems:
        form.refuse(fields)
        return job_page(request, session, job, form)
    together = list_order(session, job) if form.get("of") == "order" else [job]
    for moved in [moved for moved in together if moved.stage == job.stage]:
        move_job(session, moved, stage, on, settings.now())
    session.commit()
    return go_to(f"/jobs/{number}?said=moved")


@router.post("/passes")
def create_pass(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Note a pass."""
    job = job_or_404(session, number)
    refuse_twice(session, form)
    entry = parse_pass(form.values, settings.today(), job.dropped_off)
    if form.is_refused(entry):
        return job_page(request, session, job, form)
    note_pass(session, job, entry, settings.now())
    return commit_once(session, form, f"/jobs/{number}?said=pass", settings.now())


def note_pass(session: Session, job: Job, entry: PassEntry, now: datetime) -> None:
    """Note a pass; the first one takes the job to the bench."""
    add_pass(session, job, entry, now)
    move_on(session, job, PASS, entry.done_on, now)


@router.post("/passes/{pass_id}/strike")
def strike(
    session: Writing, form: Typed, settings: SettingsDep, number: int, pass_id: int
) -> Response:
    """Strike a pass out, or bring it back; it stays in the book either way.

    The button says which: pressed in two windows it does not undo itself.
    """
    job = job_or_404(session, number)
    kept = found_or_404(
        next((done for done in job.passes if done.id == pass_id), None), "There is no such pass."
    )
    if form.get("do") == "bring_back":
        strike_pass(kept, None)
    elif kept.struck_at is None:
        strike_pass(kept, settings.now())
    session.commit()
    return go_to(f"/jobs/{number}?said=kept")


@router.post("/notes")
def create_note(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Add a plain note."""
    job = job_or_404(session, number)
    refuse_twice(session, form)
    entry = parse_note(form.values, settings.today())
    if form.is_refused(entry):
        return job_page(request, session, job, form)
    add_event(session, job, "note", entry.on, settings.now(), entry.words)
    return commit_once(session, form, f"/jobs/{number}?said=note", settings.now())


@router.get("/edit")
def edit(request: Request, session: ReadOnly, number: int) -> HTMLResponse:
    """Show what was agreed and the drop-off's words to change."""
    return _edit_page(request, session, job_or_404(session, number), Form())


def offer_ticks(
    session: Session, form: Form, job: Job | None = None, *, at_drop_off: bool = True
) -> list[tuple[TickKind, list[str], list[str]]]:
    """Each kind of tick with the lines it offers and those that are ticked."""

    def offered(kind: str) -> list[str]:
        lines = list_checklist(session, kind)
        if job is None or has_tenon(job.piece.instrument_kind):
            return lines
        return [line for line in lines if line not in CORK_LINES or line in ticked(kind)]

    def ticked(kind: str) -> list[str]:
        kept = [tick.label for tick in job.ticks if tick.kind == kind] if job else []
        return form.ticked(kind) if form.values else kept

    return [
        (kind, offered(key), ticked(key))
        for key, kind in TICK_KINDS.items()
        if kind.at_drop_off == at_drop_off
    ]


def _edit_page(request: Request, session: Session, job: Job, form: Form) -> HTMLResponse:
    return show_page(
        request,
        "jobs/edit.html",
        form=form,
        job=job,
        shop=get_shop(session),
        checklists=offer_ticks(session, form, job),
    )


@router.post("/edit")
def update(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Change what was agreed."""
    job = job_or_404(session, number)
    days = job.dropped_off, settings.today()
    entry = parse_agreed(form.values, form.lists, days, get_shop(session).currency)
    if form.is_refused(entry):
        return _edit_page(request, session, job, form)
    keep_agreed(session, job, entry, form.seen_version, settings)
    session.commit()
    return go_to(f"/jobs/{number}?said=kept")


def keep_agreed(
    session: Session, job: Job, entry: AgreedEntry, seen_version: int | None, settings: Settings
) -> None:
    """Keep what was agreed; the first agreement moves a measured job on. Raises Conflict."""
    had_agreed = bool(job.agreed_work)
    save_agreed(session, job, entry, seen_version, settings.today(), settings.now())
    if entry.agreed_work and not had_agreed:
        move_on(session, job, AGREED, entry.agreed_on, settings.now())
