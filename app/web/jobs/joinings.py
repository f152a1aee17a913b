"""Two records that are one, made one and taken apart; and a job led over to the right piece."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.jobs.stages import STAGES
from app.core.values.forms import Fields
from app.store.records.customers import get_customer, tell_apart
from app.store.records.jobs import find_open_job
from app.store.records.joinings import (
    find_alike,
    find_hindrance,
    join_records,
    list_joinings,
    move_to_piece,
    undo_joining,
)
from app.store.records.pieces import get_piece
from app.store.records.search import find_customers, find_pieces
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

router = APIRouter()
NOUNS = {"pieces": "piece", "customers": "customer"}
NOT_HERE = "There is no such record in this book."


def _get(session: Session, noun: str, record_id: int) -> Any:
    record: Any = get_piece(session, record_id) if noun == "piece" else None
    if noun == "customer":
        record = get_customer(session, record_id)
    return found_or_404(record, NOT_HERE)


@router.get("/{nouns}/{record_id}/join")
def new(
    request: Request, session: ReadOnly, nouns: str, record_id: int, find: str = ""
) -> Response:
    """Show which other record is the same piece, or the same person."""
    noun = found_or_404(NOUNS.get(nouns), NOT_HERE)
    kept = _get(session, noun, record_id)
    return _page(request, session, noun, kept, Form(values={"find": find[:200]}))


def _page(request: Request, session: Session, noun: str, kept: Any, form: Form) -> HTMLResponse:
    asked = form.get("find")
    records: list[Any]
    if noun == "piece":
        records = find_pieces(session, asked, most=12) if asked else find_alike(session, kept)
    else:
        records = find_customers(session, asked or kept.name, most=12)
    others = [record for record in records if record.id != kept.id]
    return show_page(
        request,
        "joinings/new.html",
        form=form,
        noun=noun,
        kept=kept,
        others=others,
        known=tell_apart(session, [record.id for record in others]) if noun == "customer" else {},
    )


@router.post("/{nouns}/{record_id}/join")
def create(
    request: Request,
    session: Writing,
    form: Typed,
    settings: SettingsDep,
    nouns: str,
    record_id: int,
) -> Response:
    """Make two records one; nothing is lost, and it can be taken back."""
    noun = found_or_404(NOUNS.get(nouns), NOT_HERE)
    kept = _get(session, noun, record_id)
    fields = Fields(form.values)
    chosen = fields.number_of("other", needed=f"Choose the other record of this {noun}.")
    if chosen is not None:
        other = _get(session, noun, chosen)
        if words := find_hindrance(session, kept, other):
            fields.refuse("other", words)
    if fields.problems or chosen is None:
        form.refuse(fields)
        return _page(request, session, noun, kept, form)
    join_records(session, kept, other, settings.now())
    session.commit()
    return go_to(f"/{nouns}/{record_id}?said=joined")


@router.post("/{nouns}/{record_id}/join/{joining_id}/undo")
def undo(
    session: Writing, settings: SettingsDep, nouns: str, record_id: int, joining_id: int
) -> Response:
    """Take two records apart again; each has its own as before."""
    kept = _get(session, found_or_404(NOUNS.get(nouns), NOT_HERE), record_id)
    joined = {joining.id: joining for joining, _ in list_joinings(session, kept)}
    undo_joining(session, found_or_404(joined.get(joining_id), NOT_HERE), settings.now())
    session.commit()
    return go_to(f"/{nouns}/{record_id}?said=apart")


@router.get("/jobs/{number}/piece")
def edit_piece(request: Request, session: ReadOnly, number: int, find: str = "") -> HTMLResponse:
    """Show to which piece a job could be led over."""
    return _piece_page(request, session, number, Form(values={"find": find[:200]}))


def _piece_page(request: Request, session: Session, number: int, form: Form) -> HTMLResponse:
    job = job_or_404(session, number)
    customer = found_or_404(get_customer(session, job.customer_id), NOT_HERE)
    asked = form.get("find")
    pieces = find_pieces(session, asked, most=12) if asked else customer.pieces
    others = [piece for piece in pieces if piece.id != job.piece_id]
    return show_page(request, "joinings/piece.html", form=form, job=job, others=others)


@router.post("/jobs/{number}/piece")
def update_piece(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Lead a job over to another piece, with its readings, photographs and papers."""
    job = job_or_404(session, number)
    fields = Fields(form.values)
    chosen = fields.number_of("piece", needed="Choose the piece that this job is about.")
    piece = get_piece(session, chosen) if chosen is not None else None
    if chosen is not None and (piece is None or piece.joined_to_id or piece.id == job.piece_id):
        fields.refuse("piece", "Choose another piece of this book.")
    open_job = find_open_job(session, piece.id) if piece and not fields.problems else None
    if open_job and STAGES[job.stage].open and form.get("swapped") != str(piece and piece.id):
        fields.refuse(
            "piece",
            f"That piece is here for job {open_job.number}, and a piece is in one order at a time. "
            f"If the two were mixed up, say so below, and lead job {open_job.number} over next.",
        )
        form.questions["swapped"] = f"Job {open_job.number} is about another piece too"
    if fields.problems or piece is None:
        form.refuse(fields)
        return _piece_page(request, session, number, form)
    move_to_piece(session, job, piece, settings.today(), settings.now())
    session.commit()
    return go_to(f"/jobs/{number}?said=kept")
