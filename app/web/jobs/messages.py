"""Messages to the player, the shop's wordings, and the calendar of wanted-by dates."""

from collections.abc import Sequence

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.facing.measurements import write_line
from app.core.jobs.calendars import CalendarDay, write_calendar
from app.core.jobs.memos import MEMO_KINDS, SENT_BY, parse_memo
from app.core.jobs.messages import FIELDS, MESSAGE_KINDS, Wording, make_message, parse_wording
from app.core.jobs.stages import EXPECTED, STAGES
from app.core.values.forms import Refused, format_date, format_money
from app.core.values.pieces import name_piece
from app.store.records.charges import account_of, list_charges, sum_of
from app.store.records.jobs import add_event, list_bench, list_order
from app.store.records.memos import add_memo, list_awaited, list_memos
from app.store.records.messages import list_wordings, save_wordings
from app.store.records.shop import gauges_in_use, get_shop
from app.store.tables import Job, Piece
from app.web.jobs.slip_subjects import before_after
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    commit_once,
    go_to,
    job_or_404,
    refuse_twice,
    show_page,
)

router = APIRouter()


@router.get("/jobs/{number}/messages")
def index(request: Request, session: ReadOnly, number: int) -> HTMLResponse:
    """Show a job's messages filled in, to send or to copy."""
    return _messages_page(request, session, job_or_404(session, number), Form())


def _messages_page(request: Request, session: Session, job: Job, form: Form) -> HTMLResponse:
    facts, wordings = gather_facts(session, job), list_wordings(session)
    messages = [
        make_message(kind, wordings[key], facts, job.customer.email)
        for key, kind in MESSAGE_KINDS.items()
    ]
    sent = [memo for memo in list_memos(session, job.piece, job) if memo.kind == "message"]
    return show_page(request, "messages/index.html", form=form, job=job, messages=messages,
                     sent=sent, sent_by=SENT_BY)  # fmt: skip


@router.post("/jobs/{number}/messages")
def create(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Keep that a message was sent: how, to whom, and what it said."""
    job = job_or_404(session, number)
    refuse_twice(session, form)
    entry = parse_memo(MEMO_KINDS["message"], form.values, settings.today())
    if isinstance(entry, Refused):
        form.problems = dict(entry.problems)
        return _messages_page(request, session, job, form)
    add_memo(session, job.piece, job, entry, settings.now())
    words = f"Sent {SENT_BY[entry.details['by']]}: {entry.details['subject']}"
    add_event(session, job, "note", entry.on, settings.now(), words)
    return commit_once(session, form, f"/jobs/{number}/messages?said=sent", settings.now())


def gather_facts(session: Session, job: Job) -> dict[str, str]:
    """What a wording's fields are filled with."""
    shop, gauges, order = get_shop(session), gauges_in_use(session), list_order(session, job)
    account, (received, _) = account_of(session, order), before_after(job)
    more = f" and {len(order) - 1} more" if len(order) > 1 else ""
    return {
        "customer": job.customer.name,
        "piece": f"{_name(job.piece)}{more}",
        "job": str(job.number),
        "readings": write_line(received.recorded, gauges) if received else "",
        "asked": job.request,
        "agreed": _say_agreed(session, order),
        "price": format_money(account.total_minor, shop.currency),
        "deposit": format_money(sum_of(order, "deposit_minor"), shop.currency),
        "balance": format_money(account.balance_minor, shop.currency),
        "wanted_by": format_date(job.wanted_by),
        "dropped_off": "" if job.stage == EXPECTED else format_date(job.dropped_off),
        "shop": shop.name,
    }


def _say_agreed(session: Session, order: Sequence[Job]) -> str:
    """What was agreed of an order's pieces, or what stands on its bill so far."""
    agreed = [job.agreed_work for job in order if job.agreed_work]
    charges = (line for job in order for line in list_charges(session, job.id))
    lines = [line.label for line in charges if line.struck_at is None and line.amount_minor >= 0]
    return ", ".join(dict.fromkeys(agreed or lines))


@router.get("/settings/messages")
def edit(request: Request, session: ReadOnly) -> HTMLResponse:
    """Show the wordings to change."""
    return _edit_page(request, session, Form())


def _edit_page(request: Request, session: Session, form: Form) -> HTMLResponse:
    return show_page(
        request,
        "messages/edit.html",
        form=form,
        kinds=MESSAGE_KINDS.values(),
        wordings=list_wordings(session),
        fields=FIELDS,
    )


@router.post("/settings/messages")
def update(request: Request, session: Writing, form: Typed) -> Response:
    """Keep the shop's wordings."""
    wordings: dict[str, Wording] = {}
    for key in MESSAGE_KINDS:
        wording = parse_wording(form.values, key)
        if isinstance(wording, Refused):
            form.problems |= wording.problems
        else:
            wordings[key] = wording
    if form.problems:
        return _edit_page(request, session, form)
    save_wordings(session, wordings)
    session.commit()
    return go_to("/settings/messages?said=kept")


@router.get("/calendar.ics")
def calendar(request: Request, session: ReadOnly) -> Response:
    """Send the calendar file of the days jobs are wanted and things are awaited."""
    site = str(request.base_url).rstrip("/")
    days = [
        CalendarDay(
            f"job-{job.number}",
            job.wanted_by,
            f"Job {job.number}: {_name(job.piece)} for {job.customer.name}",
            f"{STAGES[job.stage].label}. {job.agreed_work or job.request}",
            f"{site}/jobs/{job.number}",
            job.created_at,
        )
        for group in list_bench(session)
        for job in group.jobs
        if job.wanted_by
    ]
    days += [
        CalendarDay(
            f"memo-{memo.id}",
            memo.due,
            f"{MEMO_KINDS[memo.kind].due}: {_name(memo.piece)}"
            + (f" ({memo.customer.name})" if memo.customer else ""),
            memo.details.get("what", ""),
            f"{site}{f'/jobs/{memo.job.number}' if memo.job else f'/pieces/{memo.piece_id}'}/memos",
            memo.created_at,
        )
        for memo in list_awaited(session)
        if memo.due
    ]
    return Response(
        write_calendar(days, request.url.hostname or "laybook"),
        media_type="text/calendar; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="laybook-wanted-by.ics"'},
    )


def _name(piece: Piece) -> str:
    return name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
