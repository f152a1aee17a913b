"""A job's charges and payments; a struck line stays and does not count."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, datetime

from sqlalchemy import bindparam, literal, select, union_all
from sqlalchemy.orm import Session

from app.core.jobs.charges import (
    ANSWERED_BY,
    Account,
    AnswerEntry,
    ChargeEntry,
    PaymentEntry,
    add_up,
)
from app.core.jobs.memos import ANSWERS
from app.core.jobs.stages import AGREED
from app.store.records.jobs import add_event, move_on
from app.store.records.keeping import keep
from app.store.records.revisions import change_record
from app.store.tables import Charge, Job, Memo, Payment, Work


def add_charge(session: Session, job: Job, entry: ChargeEntry, now: datetime) -> Charge:
    """Add a line to the bill."""
    return keep(session, Charge(job_id=job.id, created_at=now, **asdict(entry)))


def add_payment(
    session: Session, job: Job, entry: PaymentEntry, words: str, now: datetime
) -> Payment:
    """Note a payment, in the job's history too."""
    made = Payment(job_id=job.id, created_at=now, **asdict(entry))
    session.add(made)
    add_event(session, job, "payment", entry.paid_on, now, words)
    return made


def list_charges(session: Session, job_id: int) -> list[Charge]:
    """List the bill's lines by their day."""
    of_job = select(Charge).where(Charge.job_id == job_id)
    return list(session.scalars(of_job.order_by(Charge.charged_on, Charge.id)))


def list_payments(session: Session, job_id: int) -> list[Payment]:
    """List the payments by their day."""
    of_job = select(Payment).where(Payment.job_id == job_id)
    return list(session.scalars(of_job.order_by(Payment.paid_on, Payment.id)))


def account_of(session: Session, jobs: Sequence[Job]) -> Account:
    """Add the standing works, charges and payments of an order's jobs to what was agreed."""
    charged: list[int] = []
    paid: list[int] = []
    for job in jobs:
        for line in session.execute(_STANDING, {"job": job.id}):
            (paid if line.is_paid else charged).append(line.amount_minor)
        if job.agreed_price_minor is not None and not job.price_in_lines:
            charged.append(job.agreed_price_minor)
    return add_up(charged, paid)


def sum_of(order: Sequence[Job], name: str) -> int | None:
    """An amount added up over an order's jobs; None where none of them has it."""
    amounts = [getattr(job, name) for job in order if getattr(job, name) is not None]
    return sum(amounts) if amounts else None


_STANDING = union_all(
    *(
        select(literal(is_paid).label("is_paid"), amount.label("amount_minor")).where(
            kind.job_id == bindparam("job"), kind.struck_at.is_(None), amount.is_not(None)
        )
        for is_paid, kind, amount in (
            (0, Charge, Charge.amount_minor),
            (0, Work, Work.price_minor),
            (1, Payment, Payment.amount_minor),
        )
    )
)


def strike_charge(
    session: Session, job: Job, kept: Charge | Payment, words: str, today: date, now: datetime
) -> None:
    """Strike a line out or bring it back; the history says which."""
    kept.struck_at = None if kept.struck_at else now
    add_event(session, job, "payment", today, now, words)


def answer_quote(
    session: Session, order: Sequence[Job], quote: Memo, entry: AnswerEntry, now: datetime
) -> None:
    """Note the answer to a quote; one that is accepted is what was agreed of each piece."""
    quote.done_on = entry.answered_on
    by = ANSWERED_BY[entry.by]
    quote.details = {**quote.details, "answer": entry.answer, "by": by}
    words = f"Quote of {quote.details['amount']} {ANSWERS[entry.answer]} {by}"
    add_event(session, order[0], "note", entry.answered_on, now, words)
    if entry.answer != "accepted":
        return
    for job in order:
        lines = [
            charge.label for charge in list_charges(session, job.id) if charge.struck_at is None
        ]
        if lines and not job.agreed_work:
            agreed = {"agreed_work": ", ".join(dict.fromkeys(lines))}
            change_record(session, job, agreed, seen_version=None, now=now)
        move_on(session, job, AGREED, entry.answered_on, now)
    session.flush()
