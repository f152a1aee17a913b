"""A job's charges, deposit, payments and balance."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.jobs.charges import CHARGE_SIGNS, PAYMENT_SIGNS, parse_charge, parse_payment
from app.core.values.forms import Refused, format_money
from app.store.records.charges import (
    account_of,
    add_charge,
    add_payment,
    list_charges,
    list_payments,
    strike_charge,
)
from app.store.records.jobs import get_job
from app.store.records.shop import get_shop
from app.store.tables import Charge, Job, Payment
from app.web.pages import (
    Clock,
    Form,
    Reading,
    Typed,
    Writing,
    found_or_404,
    go_to,
    note_taken,
    show_page,
    taken_before,
)

router = APIRouter(prefix="/jobs/{number}/charges")


def _job(session: Session, number: int) -> Job:
    return found_or_404(get_job(session, number), "There is no job of that number in this book.")


@router.get("")
def index(request: Request, session: Reading, number: int) -> HTMLResponse:
    """Show what a job costs and what was paid."""
    return _page(request, session, _job(session, number), Form())


def _page(request: Request, session: Session, job: Job, form: Form) -> HTMLResponse:
    return show_page(
        request,
        "charges/index.html",
        form=form,
        job=job,
        currency=get_shop(session).currency,
        works=[one for one in job.works if one.price_minor is not None],
        charges=list_charges(session, job.id),
        payments=list_payments(session, job.id),
        account=account_of(session, job),
        charge_kinds=[(key, label) for key, (label, _) in CHARGE_SIGNS.items()],
        payment_kinds=[(key, label) for key, (label, _) in PAYMENT_SIGNS.items()],
    )


@router.post("")
def create(request: Request, session: Writing, form: Typed, clock: Clock, number: int) -> Response:
    """Add a line to the bill."""
    job = _job(session, number)
    if answer := taken_before(session, form):
        return answer
    entry = parse_charge(form.values, clock.today(), get_shop(session).currency)
    if isinstance(entry, Refused):
        form.problems = dict(entry.problems)
        return _page(request, session, job, form)
    add_charge(session, job, entry, clock.now())
    return _done(session, form, job, clock)


@router.post("/payments")
def create_payment(
    request: Request, session: Writing, form: Typed, clock: Clock, number: int
) -> Response:
    """Note a payment."""
    job = _job(session, number)
    if answer := taken_before(session, form):
        return answer
    entry = parse_payment(form.values, clock.today(), get_shop(session).currency)
    if isinstance(entry, Refused):
        form.problems = dict(entry.problems)
        return _page(request, session, job, form)
    amount = format_money(abs(entry.amount_minor), get_shop(session).currency)
    words = f"{PAYMENT_SIGNS[entry.kind][0].capitalize()}: {amount}"
    words += f", {entry.way}" if entry.way else ""
    add_payment(session, job, entry, words, clock.now())
    return _done(session, form, job, clock)


@router.post("/{charge_id}/strike")
def strike(session: Writing, clock: Clock, number: int, charge_id: int) -> Response:
    """Strike a line of the bill out, or bring it back."""
    job = _job(session, number)
    found = (one for one in list_charges(session, job.id) if one.id == charge_id)
    kept = found_or_404(next(found, None), "There is no such line.")
    return _strike(session, job, kept, kept.label, clock)


@router.post("/payments/{payment_id}/strike")
def strike_payment(session: Writing, clock: Clock, number: int, payment_id: int) -> Response:
    """Strike a payment out, or bring it back."""
    job = _job(session, number)
    found = (one for one in list_payments(session, job.id) if one.id == payment_id)
    kept = found_or_404(next(found, None), "There is no such payment.")
    return _strike(session, job, kept, PAYMENT_SIGNS[kept.kind][0], clock)


def _strike(
    session: Session, job: Job, kept: Charge | Payment, label: str, clock: Clock
) -> Response:
    amount = format_money(kept.amount_minor, get_shop(session).currency)
    done = "Brought back" if kept.struck_at else "Struck out"
    words = f"{done}: {label}, {amount}"
    strike_charge(session, job, kept, words, clock.today(), clock.now())
    session.commit()
    return go_to(f"/jobs/{job.number}/charges")


def _done(session: Session, form: Form, job: Job, clock: Clock) -> Response:
    location = f"/jobs/{job.number}/charges?said=kept"
    note_taken(session, form, location, clock.now())
    session.commit()
    return go_to(location)
