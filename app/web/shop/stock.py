"""The stock: blanks, papers, reeds, with a level that warns."""

from dataclasses import asdict

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.shop.stock import StockEntry, parse_move, parse_stock
from app.core.values.forms import Refused
from app.store.records.keeping import keep
from app.store.records.revisions import save_entry
from app.store.records.stock import list_stock
from app.store.tables import Stock
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    commit_once,
    found_or_404,
    refuse_twice,
    show_page,
)

router = APIRouter(prefix="/stock")


@router.get("")
def index(request: Request, session: ReadOnly, of: str = "") -> HTMLResponse:
    """Show the stock, and one line's fields to correct if asked."""
    chosen = next((stock for stock in list_stock(session) if str(stock.id) == of), None)
    return _page(request, session, Form(), chosen)


def _page(
    request: Request, session: Session, form: Form, chosen: Stock | None = None, moved: int = 0
) -> HTMLResponse:
    lines = list_stock(session)
    return show_page(
        request, "stock/index.html", form=form, lines=lines, chosen=chosen, moved=moved
    )


@router.post("")
def create(request: Request, session: Writing, form: Typed, settings: SettingsDep) -> Response:
    """Begin a line of the stock."""
    refuse_twice(session, form)
    entry = parse_stock(form.values)
    if form.is_refused(entry):
        return _page(request, session, form)
    keep(session, Stock(**asdict(entry)))
    return commit_once(session, form, "/stock?said=kept", settings.now())


@router.post("/{stock_id}")
def update(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, stock_id: int
) -> Response:
    """Take from a line, add to it, or correct it; below nothing is refused."""
    stock = found_or_404(session.get(Stock, stock_id), "There is no such line of the stock.")
    refuse_twice(session, form)
    if form.get("do") in {"take", "add"}:
        left = parse_move(form.values, stock.count)
        entry = (
            left
            if isinstance(left, Refused)
            else StockEntry(stock.name, left, stock.warn_at, stock.note)
        )
    else:
        entry = parse_stock(form.values)
    if form.is_refused(entry):
        moving = form.get("do") in {"take", "add"}
        return _page(request, session, form, None if moving else stock, stock.id)
    request.state.back = "/stock"
    save_entry(session, stock, entry, form.seen_version, settings.now())
    return commit_once(session, form, "/stock?said=kept", settings.now())
