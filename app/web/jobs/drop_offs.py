"""Drop-off: one page from "who is it" to numbered jobs, one for each piece, and an intake slip."""

from collections.abc import Mapping, Sequence
from datetime import timedelta
from types import MappingProxyType
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.jobs.drop_offs import (
    MOST_PIECES,
    DropOff,
    count_rows,
    parse_drop_off,
    row_prefix,
    same_name,
)
from app.core.jobs.services import offer_services
from app.core.jobs.waiting import tell_turnaround
from app.core.values.forms import as_number
from app.store.records.customers import get_customer, tell_apart
from app.store.records.drop_offs import Unknown, take_in
from app.store.records.joinings import find_alike
from app.store.records.pieces import get_piece
from app.store.records.search import find_customers
from app.store.records.services import offered_services
from app.store.records.shop import get_shop
from app.store.records.waiting import list_visits
from app.store.tables import Customer, Piece
from app.web.compare.returning import list_last_known
from app.web.jobs.jobs import offer_ticks
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    commit_once,
    get_settings,
    refuse_twice,
    show_page,
)

router = APIRouter(prefix="/drop-off")
MORE_ROWS = 11  # a box of twelve
ALIKE = "The book has this maker, model and marking already. Say whether it is that piece."


@router.get("")
def new(
    request: Request, session: ReadOnly, customer: str = "", piece: str = "", same_piece: str = ""
) -> HTMLResponse:
    """Show an empty drop-off page, or one with customer and piece, or a sold piece, chosen."""
    form = Form(values={"customer": customer}, lists={"piece": [piece]}) if customer else Form()
    form.values |= {"same_piece": same_piece[:9]} if same_piece else {}
    return _page(request, session, form)


@router.get("/customers")
def customers(request: Request, session: ReadOnly, find: str = "") -> HTMLResponse:
    """Show the part of the page that lists the customers found while typing."""
    form = Form(values={"find": find[:200]})
    return show_page(request, "drop_offs/customers.html", form=form, **_customers(session, form))


@router.get("/pieces")
def pieces(request: Request, session: ReadOnly, customer: str = "") -> HTMLResponse:
    """Show the part of the page that lists a chosen customer's pieces and instruments."""
    form = Form(values={"customer": customer[:20]})
    chosen = _chosen(session, form)
    last = list_last_known(session, chosen)
    return show_page(request, "drop_offs/pieces.html", form=form, chosen=chosen, last=last)


@router.post("")
def create(request: Request, session: Writing, form: Typed, settings: SettingsDep) -> Response:
    """Take pieces in, find the customer first, or show more lines."""
    if form.get("do") == "more":
        form.values["rows"] = str(count_rows(form.values, MORE_ROWS))
    if form.get("do") == "enter" and form.get("find").strip() and _names_nobody(form):
        form.values["do"] = "find"  # without scripts, Enter in the field above Find
    if form.get("do") in {"find", "more"}:
        return _page(request, session, form)
    refuse_twice(session, form)
    today, now = settings.today(), settings.now()
    drop = parse_drop_off(form.values, form.lists, today, get_shop(session).currency)
    if form.is_refused(drop):
        return _page(request, session, form)
    if alike := _ask_alike(session, form, drop):
        for row in alike:
            said = f"Piece {row}. {ALIKE}" if len(alike) > 1 else ALIKE
            form.problems[same_name(row)] = said
        return _page(request, session, form, alike)
    try:
        job = take_in(session, drop, now)
    except Unknown as unknown:
        session.rollback()
        form.problems = {unknown.field: str(unknown)}
        return _page(request, session, form)
    location = f"/jobs/{job.number}?said={'expected' if drop.job.expected else 'taken-in'}"
    return commit_once(session, form, location, now)


def _ask_alike(session: Session, form: Form, drop: DropOff) -> dict[int, list[Piece]]:
    """Find pieces of the book that a new one may be, by the row that has not said yet."""
    alike = {}
    for dropped in drop.pieces:
        if isinstance(dropped.piece, int):
            continue
        name = same_name(dropped.row)
        if form.get("do") == "others":
            form.values[name] = "none"
        elif form.get(name) != "none" and (known := find_alike(session, dropped.piece)):
            alike[dropped.row] = known
    return alike


def _known(session: Session, text: str) -> list[Piece]:
    piece = get_piece(session, number) if (number := as_number(text)) else None
    return [piece] if piece else []


def _page(
    request: Request,
    session: Session,
    form: Form,
    alike: Mapping[int, Sequence[Piece]] = MappingProxyType({}),
) -> HTMLResponse:
    rows = count_rows(form.values)
    names = {row: same_name(row) for row in range(1, rows + 1)}
    turnaround = tell_turnaround(list_visits(session))
    today = get_settings(request).today()
    days = (turnaround.median_days, turnaround.sure_days) if turnaround else ()
    return show_page(
        request,
        "drop_offs/new.html",
        form=form,
        alike=[
            (name, alike.get(row) or _known(session, form.get(name))) for row, name in names.items()
        ],
        shop=get_shop(session),
        checklists=offer_ticks(session, form),
        rows=[row_prefix(row) for row in range(1, rows + 1)],
        may_have_more=rows < MOST_PIECES,
        services=offer_services(offered_services(session)),
        turnaround=turnaround,
        ready=[today + timedelta(days=wait) for wait in days],
        **_customers(session, form),
    )


def _customers(session: Session, form: Form) -> dict[str, Any]:
    """Gather the customers to offer: those found, and the one chosen with their pieces' facings.

    Where *Find* was pressed and only one fits, that one is chosen.
    """
    offered = find_customers(session, form.get("find"), most=8)
    if form.get("do") == "find" and len(offered) == 1 and _names_nobody(form):
        form.values["customer"] = str(offered[0].id)
    chosen = _chosen(session, form)
    if chosen and chosen.id not in {customer.id for customer in offered}:
        offered.insert(0, chosen)
    known = tell_apart(session, [customer.id for customer in offered])
    last = list_last_known(session, chosen)
    return {"found": offered, "known": known, "chosen": chosen, "last": last}


def _names_nobody(form: Form) -> bool:
    return form.get("customer") in {"", "new"} and not form.get("customer_name").strip()


def _chosen(session: Session, form: Form) -> Customer | None:
    return get_customer(session, number) if (number := form.number("customer")) else None
