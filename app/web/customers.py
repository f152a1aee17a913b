"""Customers' pages."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.core.customers import parse_customer
from app.core.forms import Refused
from app.core.measurements import write_line
from app.store.customers import get_customer, list_customers, list_jobs_of, save_customer
from app.store.measurements import last_facings
from app.store.revisions import Conflict
from app.store.shop import gauges_in_use
from app.web.pages import Clock, Form, Reading, Typed, Writing, found_or_404, go_to, show_page

router = APIRouter(prefix="/customers")
NOT_HERE = "There is no such customer in this book."


@router.get("")
def index(request: Request, session: Reading) -> HTMLResponse:
    """List customers by name."""
    return show_page(request, "customers/index.html", customers=list_customers(session))


@router.get("/{customer_id}")
def show(request: Request, session: Reading, customer_id: int) -> HTMLResponse:
    """Show a customer with their pieces and jobs."""
    customer = found_or_404(get_customer(session, customer_id), NOT_HERE)
    gauges = gauges_in_use(session)
    last = last_facings(session, [piece.id for piece in customer.pieces])
    return show_page(
        request,
        "customers/show.html",
        customer=customer,
        jobs=list_jobs_of(session, customer_id),
        last=last,
        lines={
            piece_id: write_line(one.recorded, gauges.glass, gauges.tip)
            for piece_id, one in last.items()
        },
    )


@router.get("/{customer_id}/edit")
def edit(request: Request, session: Reading, customer_id: int) -> HTMLResponse:
    """Show a customer's fields to change."""
    customer = found_or_404(get_customer(session, customer_id), NOT_HERE)
    return show_page(request, "customers/edit.html", customer=customer)


@router.post("/{customer_id}/edit")
def update(
    request: Request, session: Writing, form: Typed, clock: Clock, customer_id: int
) -> Response:
    """Change a customer."""
    customer = found_or_404(get_customer(session, customer_id), NOT_HERE)
    entry = parse_customer(form.values)
    if isinstance(entry, Refused):
        form.problems = dict(entry.problems)
        return show_page(request, "customers/edit.html", form=form, customer=customer)
    try:
        save_customer(session, customer, entry, form.seen_version, clock.now())
    except Conflict as conflict:
        return show_conflict(request, form, conflict, customer.version)
    session.commit()
    return go_to(f"/customers/{customer_id}?said=kept")


def show_conflict(
    request: Request, form: Form, conflict: Conflict, version: int, *, back: str = ""
) -> HTMLResponse:
    """Show what somebody else changed meanwhile beside what was typed; nothing is lost."""
    return show_page(
        request,
        "conflict.html",
        status=409,
        form=form,
        conflict=conflict,
        version=version,
        back=back or request.url.path,
    )
