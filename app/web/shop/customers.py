"""Customers' pages."""

from string import ascii_lowercase
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response

from app.core.facing.measurements import write_line
from app.core.values.customers import parse_customer
from app.store.book.erasure import get_forgetting
from app.store.records.customers import (
    get_customer,
    list_customers,
    list_former_pieces,
    list_jobs_of,
    save_customer,
)
from app.store.records.joinings import list_joinings
from app.store.records.measurements import last_facings
from app.store.records.shop import gauges_in_use
from app.web.pages import ReadOnly, SettingsDep, Typed, Writing, found_or_404, go_to, show_page

router = APIRouter(prefix="/customers")
NOT_HERE = "There is no such customer in this book."
JOBS_SHOWN = 100
Place = Annotated[int | None, Query(ge=0, lt=2**31)]


@router.get("")
def index(
    request: Request,
    session: ReadOnly,
    start: Annotated[str, Query(alias="from")] = "",
    after: Place = None,
) -> HTMLResponse:
    """List customers by name: all of them, or some from a letter or a name on."""
    page = list_customers(session, start[:40], after)
    return show_page(
        request, "customers/index.html", page=page, start=start, letters=ascii_lowercase
    )


@router.get("/{customer_id}")
def show(request: Request, session: ReadOnly, customer_id: int, before: Place = None) -> Response:
    """Show a customer with their pieces and jobs, or with the jobs before one of them."""
    customer = found_or_404(get_customer(session, customer_id), NOT_HERE)
    if customer.joined_to_id:
        return go_to(f"/customers/{customer.joined_to_id}")
    gauges = gauges_in_use(session)
    jobs = list_jobs_of(session, customer_id, before, JOBS_SHOWN + 1)
    last = last_facings(session, [piece.id for piece in customer.pieces])
    return show_page(
        request,
        "customers/show.html",
        customer=customer,
        former=list_former_pieces(session, customer_id),
        joinings=list_joinings(session, customer),
        jobs=jobs[:JOBS_SHOWN],
        earlier_than=jobs[JOBS_SHOWN - 1].number if len(jobs) > JOBS_SHOWN else None,
        before=before,
        forgotten=get_forgetting(session, customer_id),
        last=last,
        lines={
            piece_id: write_line(measurement.recorded, gauges)
            for piece_id, measurement in last.items()
        },
    )


@router.get("/{customer_id}/edit")
def edit(request: Request, session: ReadOnly, customer_id: int) -> HTMLResponse:
    """Show a customer's fields to change."""
    customer = found_or_404(get_customer(session, customer_id), NOT_HERE)
    return show_page(request, "customers/edit.html", customer=customer)


@router.post("/{customer_id}/edit")
def update(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, customer_id: int
) -> Response:
    """Change a customer."""
    customer = found_or_404(get_customer(session, customer_id), NOT_HERE)
    entry = parse_customer(form.values)
    if form.is_refused(entry):
        return show_page(request, "customers/edit.html", form=form, customer=customer)
    save_customer(session, customer, entry, form.seen_version, settings.now())
    session.commit()
    return go_to(f"/customers/{customer_id}?said=kept")
