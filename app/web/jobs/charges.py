"""A job's charges, deposit, payments and balance."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.jobs.charges import (
    ANSWERED_BY,
    CHARGE_SIGNS,
    PAYMENT_SIGNS,
    ChargeEntry,
    parse_answer,
    parse_charge,
    parse_payment,
    parse_quote,
)
from app.core.jobs.memos import ANSWERS
from app.core.jobs.services import offer_services, price_of
from app.core.values.forms import Refused, format_money
from app.store.records.charges import (
    account_of,
    add_charge,
    add_payment,
    answer_quote,
    list_charges,
    list_payments,
    strike_charge,
)
from app.store.records.jobs import list_order
from app.store.records.memos import add_memo, is_open, list_memos
from app.store.records.services import offered_services
from app.store.records.shop import get_shop
from app.store.tables import Charge, Job, Memo, Payment
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    commit_once,
    found_or_404,
    go_to,
    job_or_404,
    refuse_twice,
    show_page,
)

router = APIRouter(prefix="/jobs/{number}/charges")


@router.get("")
def index(request: Request, session: ReadOnly, number: int) -> HTMLResponse:
    """Show what a job costs and what was paid."""
    return _page(request, session, job_or_404(session, number), Form())


def _page(request: Request, session: Session, job: Job, form: Form) -> HTMLResponse:
    order = list_order(session, job)
    piece, services = job.piece, offered_services(session)
    return show_page(
        request,
        "charges/index.html",
        form=form,
        job=job,
        currency=get_shop(session).currency,
        bills=[
            (
                billed,
                [work for work in billed.works if work.price_minor is not None],
                list_charges(session, billed.id),
            )
            for billed in order
        ],
        payments=[(billed, paid) for billed in order for paid in list_payments(session, billed.id)],
        deposit=sum(billed.deposit_minor or 0 for billed in order),
        account=account_of(session, order),
        services=offer_services(services, piece.instrument_kind, piece.material),
        quotes=_quotes(session, job),
        charge_kinds=[(key, label) for key, (label, _) in CHARGE_SIGNS.items()],
        payment_kinds=[(key, label) for key, (label, _) in PAYMENT_SIGNS.items()],
        answers=ANSWERS.items(),
        answered_by=ANSWERED_BY.items(),
    )


def _quotes(session: Session, job: Job) -> list[Memo]:
    """List the quotes of a job's order."""
    return [memo for memo in list_memos(session, job.piece, job) if memo.kind == "quote"]


@router.post("/quotes")
def create_quote(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Note that what the order comes to was quoted, and on which day."""
    job = job_or_404(session, number)
    refuse_twice(session, form)
    order = list_order(session, job)
    amount = format_money(account_of(session, order).total_minor, get_shop(session).currency)
    entry = parse_quote(form.values, settings.today(), amount)
    if form.is_refused(entry):
        return _page(request, session, job, form)
    add_memo(session, job.piece, job, entry, settings.now())
    return _done(session, form, job, settings)


@router.post("/quotes/{memo_id}")
def answer(
    request: Request,
    session: Writing,
    form: Typed,
    settings: SettingsDep,
    number: int,
    memo_id: int,
) -> Response:
    """Note how a quote was answered, when and by what means; accepted, it moves the pieces on."""
    job = job_or_404(session, number)
    refuse_twice(session, form)
    order = list_order(session, job)
    quotes = (memo for memo in _quotes(session, job) if memo.id == memo_id and is_open(memo))
    quote = found_or_404(next(quotes, None), "There is no such quote that waits for an answer.")
    entry = parse_answer(form.values, settings.today(), quote.on)
    if form.is_refused(entry):
        return _page(request, session, job, form)
    answer_quote(session, order, quote, entry, settings.now())
    return _done(session, form, job, settings)


@router.post("")
def create(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Add a line to the bill."""
    job = job_or_404(session, number)
    refuse_twice(session, form)
    entry: ChargeEntry | Refused
    if label := form.get("service"):
        piece, listed = job.piece, offered_services(session)
        line = price_of(listed, label, piece.instrument_kind, piece.material)
        service = found_or_404(line, "The price list has no such line for this piece any more.")
        entry = ChargeEntry(service.label, service.price_minor, settings.today())
    else:
        entry = parse_charge(form.values, settings.today(), get_shop(session).currency)
    if form.is_refused(entry):
        return _page(request, session, job, form)
    add_charge(session, job, entry, settings.now())
    return _done(session, form, job, settings)


@router.post("/payments")
def create_payment(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int
) -> Response:
    """Note a payment."""
    job = job_or_404(session, number)
    refuse_twice(session, form)
    entry = parse_payment(form.values, settings.today(), get_shop(session).currency)
    if form.is_refused(entry):
        return _page(request, session, job, form)
    amount = format_money(abs(entry.amount_minor), get_shop(session).currency)
    words = f"{PAYMENT_SIGNS[entry.kind][0].capitalize()}: {amount}"
    words += f", {entry.way}" if entry.way else ""
    add_payment(session, job, entry, words, settings.now())
    return _done(session, form, job, settings)


@router.post("/{charge_id}/strike")
def strike(session: Writing, settings: SettingsDep, number: int, charge_id: int) -> Response:
    """Strike a line of the bill out, or bring it back."""
    job = job_or_404(session, number)
    charges = (charge for charge in list_charges(session, job.id) if charge.id == charge_id)
    kept = found_or_404(next(charges, None), "There is no such line.")
    return _strike(session, job, kept, kept.label, settings)


@router.post("/payments/{payment_id}/strike")
def strike_payment(
    session: Writing, settings: SettingsDep, number: int, payment_id: int
) -> Response:
    """Strike a payment out, or bring it back."""
    job = job_or_404(session, number)
    payments = (payment for payment in list_payments(session, job.id) if payment.id == payment_id)
    kept = found_or_404(next(payments, None), "There is no such payment.")
    return _strike(session, job, kept, PAYMENT_SIGNS[kept.kind][0], settings)


def _strike(
    session: Session, job: Job, kept: Charge | Payment, label: str, settings: SettingsDep
) -> Response:
    amount = format_money(kept.amount_minor, get_shop(session).currency)
    done = "Brought back" if kept.struck_at else "Struck out"
    words = f"{done}: {label}, {amount}"
    strike_charge(session, job, kept, words, settings.today(), settings.now())
    session.commit()
    return go_to(f"/jobs/{job.number}/charges")


def _done(session: Session, form: Form, job: Job, settings: SettingsDep) -> Response:
    return commit_once(session, form, f"/jobs/{job.number}/charges?said=kept", settings.now())
