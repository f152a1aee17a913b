"""A job's charges and payments; a struck line stays and does not count."""

from dataclasses import asdict
from datetime import date, datetime

from sqlalchemy import bindparam, literal, select, union_all
from sqlalchemy.orm import Session

from app.core.jobs.charges import Account, ChargeEntry, PaymentEntry, add_up
from app.store.records.jobs import add_event
from app.store.records.loading import rows_of
from app.store.tables import Charge, Job, Payment, Work


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
    """List the bill's lines by their day."""
    return list(session.scalars(_CHARGES, {"job": job_id}))


def list_payments(session: Session, job_id: int) -> list[Payment]:
    """List the payments by their day."""
    return list(session.scalars(_PAYMENTS, {"job": job_id}))


_CHARGES = (
    select(Charge).where(Charge.job_id == bindparam("job")).order_by(Charge.charged_on, Charge.id)
)
_PAYMENTS = (
    select(Payment).where(Payment.job_id == bindparam("job")).order_by(Payment.paid_on, Payment.id)
)


def account_of(session: Session, job: Job) -> Account:
    """Add a job's standing works, charges and payments to what was agreed."""
    amounts = rows_of(session, _STANDING, {"job": job.id}).all()
    charged = [one.amount_minor for one in amounts if not one.is_paid]
    paid = [one.amount_minor for one in amounts if one.is_paid]
    return add_up(charged, paid, None if job.price_in_lines else job.agreed_price_minor)


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
