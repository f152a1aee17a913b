"""The shop's settings page."""

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.facing.measurements import RAIL_VIEWS
from app.core.shop.shop import BLADE_ORDERS, PAPERS, parse_shop
from app.core.values.forms import format_money, minor_digits, plural
from app.store.records.shop import get_shop, has_amounts, list_blade_sets, list_gauges, save_shop
from app.web.pages import Form, ReadOnly, SettingsDep, Typed, Writing, go_to, show_page

router = APIRouter(prefix="/settings")


@router.get("")
def edit(request: Request, session: ReadOnly) -> HTMLResponse:
    """Show the settings."""
    return _page(request, session, Form())


def _page(request: Request, session: Session, form: Form) -> HTMLResponse:
    shop = get_shop(session)
    return show_page(
        request,
        "shop/edit.html",
        form=form,
        shop=shop,
        tilt_in_ten=shop.tilt_limit_mm_per_mm * 10,
        papers=PAPERS,
        blade_orders=BLADE_ORDERS,
        rail_views=RAIL_VIEWS,
        glasses=list_gauges(session, "glass"),
        wedges=list_gauges(session, "wedge"),
        bore_gauges=list_gauges(session, "bore_gauge"),
        blade_sets=list_blade_sets(session),
    )


@router.post("")
def update(request: Request, session: Writing, form: Typed, settings: SettingsDep) -> Response:
    """Change the settings."""
    entry = parse_shop(form.values)
    if form.is_refused(entry):
        return _page(request, session, form)
    kinds = ("glass", "wedge", "bore_gauge")
    known: dict[str, Sequence[Any]] = {f"{kind}_id": list_gauges(session, kind) for kind in kinds}
    known["blade_set_id"] = list_blade_sets(session)
    for name, records in known.items():
        if getattr(entry, name) not in {record.id for record in records}:
            form.problems[name] = "Choose one from the list."
    _ask_about_amounts(session, form, entry.currency)
    if form.problems:
        return _page(request, session, form)
    save_shop(session, entry, form.seen_version, settings.now())
    session.commit()
    return go_to("/settings?said=kept")


def _ask_about_amounts(session: Session, form: Form, wanted: str) -> None:
    """Ask before written amounts say another currency; one of other decimals is refused."""
    present = get_shop(session).currency
    if wanted == present or not has_amounts(session):
        return
    if minor_digits(wanted) != minor_digits(present):
        form.problems["currency"] = (
            f"Amounts are written in {present} already, with {_say_digits(present)}; "
            f"{wanted} has {_say_digits(wanted)}, so they would say something "
            "else. Begin a new book for it."
        )
    elif form.get("relabel") != wanted:
        was, then = format_money(8550, present), format_money(8550, wanted)
        form.problems["relabel"] = (
            f"Amounts are written in {present} already, and nothing is converted: what says {was} "
            f"would say {then}. Tick it if that is right."
        )
        form.questions["relabel"] = f"They were meant in {wanted} all along"


def _say_digits(currency: str) -> str:
    digits = minor_digits(currency)
    return plural(digits, "decimal") if digits else "none"
