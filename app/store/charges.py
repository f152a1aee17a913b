"""A job's charges and payments; a struck line stays and does not count."""

from dataclasses import asdict
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.charges import Account, ChargeEntry, PaymentEntry, add_up
from app.store.jobs import add_event
from app.store.tables import Charge, Job, Payment


def add_charge(session: Session, job: Job, entry: ChargeEntry, now: datetime) -> Charge:
    """Add a line to the bill."""
    made = Charge(job_id=job.id, created_at=now, **asdict(entry))
    session.add(made)
    session.flush()
    return made


def add_payment(
    session: Session, job: Job, entry: PaymentEntry, words: str, now: datetime
) -> Payment:
    """Note a payment, in the job's history too."""
    made = Payment(job_id=job.id, created_at=now, **asdict(entry))
    session.add(made)
    add_event(session, job, "payment", entry.paid_on, now, words)
    return made


def list_charges(session: Session, job_id: int) -> list[Charge]:
    """List the bill's lines as they were written."""
    return list(session.scalars(select(Charge).where(Charge.job_id == job_id).order_by(Charge.id)))


def list_payments(session: Session, job_id: int) -> list[Payment]:
    """List the payments by their day."""
    return list(
        session.scalars(
            select(Payment).where(Payment.job_id == job_id).order_by(Payment.paid_on, Payment.id)
        )
    )


def account_of(session: Session, job: Job) -> Account:
    """Add a job's standing lines and payments up."""
    return add_up(
        [one.amount_minor for one in list_charges(session, job.id) if one.struck_at is None],
        [one.amount_minor for one in list_payments(session, job.id) if one.struck_at is None],
        job.agreed_price_minor,
    )


def strike_charge(
    session: Session, job: Job, kept: Charge | Payment, words: str, today: date, now: datetime
) -> None:
    """Strike a line out or bring it back; the history says which."""
    kept.struck_at = None if kept.struck_at else now
    add_event(session, job, "payment", today, now, words)
