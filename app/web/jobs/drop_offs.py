"""Drop-off: one page from "who is it" to a numbered job and its intake slip."""

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.jobs.jobs import parse_drop_off
from app.core.values.forms import Refused
from app.core.values.pieces import PieceEntry
from app.store.records.customers import get_customer, tell_apart
from app.store.records.jobs import Unknown, take_in
from app.store.records.joinings import find_alike
from app.store.records.lookups import find_customers
from app.store.records.pieces import get_piece
from app.store.records.shop import get_shop
from app.store.tables import Customer, Piece
from app.web.compare.returning import list_last_known
from app.web.jobs.jobs import offer_ticks
from app.web.pages import (
    Clock,
    Form,
    Reading,
    Typed,
    Writing,
    go_to,
    note_taken,
    show_page,
    taken_before,
)

router = APIRouter(prefix="/drop-off")
ALIKE = "The book has this maker, model and marking already. Say whether it is that piece."


@router.get("")
def new(
    request: Request, session: Reading, customer: str = "", piece: str = "", same_piece: str = ""
) -> HTMLResponse:
    """Show an empty drop-off page, or one with customer and piece, or a sold piece, chosen."""
    values = {"customer": customer, "piece": piece} if customer else {}
    values |= {"same_piece": same_piece[:9]} if same_piece else {}
    return _page(request, session, Form(values=values))


@router.get("/customers")
def customers(request: Request, session: Reading, find: str = "") -> HTMLResponse:
    """Show the part of the page that lists the customers found while typing."""
    form = Form(values={"find": find[:200]})
    return show_page(request, "drop_offs/customers.html", form=form, **_customers(session, form))


@router.get("/pieces")
def pieces(request: Request, session: Reading, customer: str = "") -> HTMLResponse:
    """Show the part of the page that lists a chosen customer's pieces and instruments."""
    form = Form(values={"customer": customer[:20]})
    chosen = _chosen(session, form)
    last = list_last_known(session, chosen)
    return show_page(request, "drop_offs/pieces.html", form=form, chosen=chosen, last=last)


@router.post("")
def create(request: Request, session: Writing, form: Typed, clock: Clock) -> Response:
    """Take a piece in, or find the customer first."""
    if form.get("do") == "find":
        return _page(request, session, form)
    if answer := taken_before(session, form):
        return answer
    today, now = clock.today(), clock.now()
    drop = parse_drop_off(form.values, form.lists, today, get_shop(session).currency)
    if isinstance(drop, Refused):
        form.problems = dict(drop.problems)
        return _page(request, session, form)
    if isinstance(drop.piece, PieceEntry) and form.get("same_piece") != "none":
        alike = find_alike(session, drop.piece)
        if alike:
            form.problems = {"same_piece": ALIKE}
            return _page(request, session, form, alike)
    try:
        job = take_in(session, drop, now)
    except Unknown as unknown:
        session.rollback()
        form.problems = {unknown.field: str(unknown)}
        return _page(request, session, form)
    location = f"/jobs/{job.number}?said=taken-in"
    note_taken(session, form, location, now)
    session.commit()
    return go_to(location)


def _page(
    request: Request, session: Session, form: Form, alike: Sequence[Piece] = ()
) -> HTMLResponse:
    same = form.get("same_piece")
    chosen = get_piece(session, int(same)) if same.isdecimal() and len(same) < 10 else None
    return show_page(
        request,
        "drop_offs/new.html",
        form=form,
        alike=alike or ([chosen] if chosen else ()),
        shop=get_shop(session),
        checklists=offer_ticks(session, form),
        **_customers(session, form),
    )


def _customers(session: Session, form: Form) -> dict[str, Any]:
    """Gather the customers to offer: those found, and the one chosen with their pieces' facings."""
    found = find_customers(session, form.get("find"), most=8)
    chosen = _chosen(session, form)
    if chosen and chosen.id not in {one.id for one in found}:
        found.insert(0, chosen)
    known = tell_apart(session, [one.id for one in found])
    last = list_last_known(session, chosen)
    return {"found": found, "known": known, "chosen": chosen, "last": last}


def _chosen(session: Session, form: Form) -> Customer | None:
    text = form.get("customer")
    return get_customer(session, int(text)) if text.isdecimal() and len(text) < 10 else None
