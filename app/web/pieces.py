"""A piece's page: its last facing first, then everything that ever happened to it."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.forms import Fields, Refused
from app.core.pieces import parse_piece
from app.store.customers import get_customer
from app.store.lookups import find_customers
from app.store.measurements import last_facing, list_measurements
from app.store.pieces import get_piece, list_jobs_on, pass_on_piece, save_piece
from app.store.revisions import Conflict, list_revisions
from app.store.shop import gauges_in_use, get_shop
from app.store.tables import Piece
from app.web.customers import show_conflict
from app.web.measurements import summarise
from app.web.pages import Clock, Form, Reading, Typed, Writing, found_or_404, go_to, show_page

router = APIRouter(prefix="/pieces/{piece_id}")
NOT_HERE = "There is no such piece in this book."


@router.get("")
def show(request: Request, session: Reading, piece_id: int) -> HTMLResponse:
    """Show a piece."""
    piece = found_or_404(get_piece(session, piece_id), NOT_HERE)
    shop, gauges = get_shop(session), gauges_in_use(session)
    measurements = list_measurements(session, piece_id)
    last = last_facing(measurements)
    return show_page(
        request,
        "pieces/show.html",
        piece=piece,
        gauges=gauges,
        last=summarise(last, gauges, shop) if last else None,
        sets=[summarise(one, gauges, shop) for one in reversed(measurements)],
        jobs=list_jobs_on(session, piece_id),
        revisions=list_revisions(session, "piece", piece_id),
    )


@router.get("/edit")
def edit(request: Request, session: Reading, piece_id: int) -> HTMLResponse:
    """Show a piece's fields to change."""
    piece = found_or_404(get_piece(session, piece_id), NOT_HERE)
    return _edit_page(request, piece, Form())


def _edit_page(request: Request, piece: Piece, form: Form) -> HTMLResponse:
    return show_page(request, "pieces/edit.html", form=form, piece=piece)


@router.post("/edit")
def update(
    request: Request, session: Writing, form: Typed, clock: Clock, piece_id: int
) -> Response:
    """Change a piece."""
    piece = found_or_404(get_piece(session, piece_id), NOT_HERE)
    entry = parse_piece(form.values)
    if isinstance(entry, Refused):
        form.problems = dict(entry.problems)
        return _edit_page(request, piece, form)
    try:
        save_piece(session, piece, entry, form.seen_version, clock.now())
    except Conflict as conflict:
        return show_conflict(request, form, conflict, piece.version)
    session.commit()
    return go_to(f"/pieces/{piece_id}?said=kept")


@router.get("/owner")
def owner(request: Request, session: Reading, piece_id: int, find: str = "") -> HTMLResponse:
    """Show the page on which a piece is passed on to another owner."""
    return _owner_page(request, session, piece_id, Form(values={"find": find[:200]}))


def _owner_page(request: Request, session: Session, piece_id: int, form: Form) -> HTMLResponse:
    piece = found_or_404(get_piece(session, piece_id), NOT_HERE)
    found = find_customers(session, form.get("find"), most=12)
    return show_page(request, "pieces/owner.html", form=form, piece=piece, found=found)


@router.post("/owner")
def update_owner(
    request: Request, session: Writing, form: Typed, clock: Clock, piece_id: int
) -> Response:
    """Note that a piece was sold on."""
    piece = found_or_404(get_piece(session, piece_id), NOT_HERE)
    fields = Fields(form.values)
    new_owner = fields.number_of("owner", needed="Choose the new owner.")
    since = fields.date("since") or clock.today()
    if new_owner is not None and get_customer(session, new_owner) is None:
        fields.refuse("owner", "That customer is not in the book.")
    if fields.problems or new_owner is None:
        form.problems = dict(fields.problems)
        return _owner_page(request, session, piece_id, form)
    try:
        pass_on_piece(session, piece, new_owner, since, form.seen_version, clock.now())
    except Conflict as conflict:
        return show_conflict(request, form, conflict, piece.version)
    session.commit()
    return go_to(f"/pieces/{piece_id}?said=passed-on")
