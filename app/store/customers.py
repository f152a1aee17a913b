"""Customers and their instruments."""

from dataclasses import asdict
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.core.customers import CustomerEntry, InstrumentEntry
from app.store.lookups import searchable
from app.store.revisions import change_record
from app.store.tables import Customer, Instrument, Job, Piece


def add_customer(session: Session, entry: CustomerEntry, now: datetime) -> Customer:
    """Write a new customer down."""
    customer = Customer(**asdict(entry), search_text=_text(entry), created_at=now)
    session.add(customer)
    session.flush()
    return customer


def save_customer(
    session: Session,
    customer: Customer,
    entry: CustomerEntry,
    seen_version: int | None,
    now: datetime,
) -> None:
    """Change a customer, keeping the earlier words; raises Conflict."""
    changes = {**asdict(entry), "search_text": _text(entry)}
    change_record(session, customer, changes, seen_version=seen_version, now=now)


def _text(entry: CustomerEntry) -> str:
    return searchable(entry.name, entry.phone, entry.email, entry.address, entry.plays)


def get_customer(session: Session, customer_id: int) -> Customer | None:
    """Give a customer with their pieces and instruments."""
    return session.scalar(
        select(Customer)
        .where(Customer.id == customer_id)
        .options(selectinload(Customer.pieces), selectinload(Customer.instruments))
    )


def list_customers(session: Session, limit: int = 200) -> list[Customer]:
    """List customers by name."""
    return list(
        session.scalars(
            select(Customer)
            .options(selectinload(Customer.pieces))
            .order_by(Customer.search_text, Customer.id)  # folded: Øyvind stands under O
            .limit(limit)
        )
    )


def list_jobs_of(session: Session, customer_id: int) -> list[Job]:
    """List a customer's jobs, newest first."""
    return list(
        session.scalars(
            select(Job)
            .where(Job.customer_id == customer_id)
            .options(selectinload(Job.piece).joinedload(Piece.owner))
            .order_by(Job.number.desc())
        )
    )


def last_visits(session: Session, customer_ids: list[int]) -> dict[int, Job]:
    """Give each customer's newest job, to tell two people of one name apart."""
    jobs = session.scalars(
        select(Job)
        .where(Job.customer_id.in_(customer_ids))
        .options(selectinload(Job.piece))
        .order_by(Job.number)
    )
    return {job.customer_id: job for job in jobs}


def add_instrument(session: Session, customer_id: int, entry: InstrumentEntry) -> Instrument:
    """Write down an instrument of a customer's."""
    instrument = Instrument(customer_id=customer_id, **asdict(entry))
    session.add(instrument)
    session.flush()
    return instrument
