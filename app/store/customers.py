"""Customers and their instruments."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime

from sqlalchemy import func, select, tuple_
from sqlalchemy.orm import Session, joinedload, selectinload

from app.core.customers import CustomerEntry, InstrumentEntry
from app.store.lookups import fold, searchable
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


@dataclass(frozen=True, slots=True)
class CustomerPage:
    """Some customers by name, and how many pieces each has.

    `more` says that others follow, `whole` that these are all there are.
    """

    customers: tuple[Customer, ...]
    piece_counts: dict[int, int]
    more: bool
    whole: bool


def list_customers(
    session: Session, start: str = "", after: int | None = None, most: int = 100
) -> CustomerPage:
    """List customers by name, from the first not before `start`, or after one of them."""
    wanted = select(Customer).order_by(Customer.search_text, Customer.id).limit(most + 1)
    last = session.get(Customer, after) if after is not None else None
    begin = fold(start).strip()
    if last:
        place = tuple_(Customer.search_text, Customer.id)
        wanted = wanted.where(place > (last.search_text, last.id))
    elif begin:
        wanted = wanted.where(Customer.search_text >= begin)  # folded: Øyvind stands under O
    found = session.scalars(wanted).all()
    shown = tuple(found[:most])
    counts = session.execute(
        select(Piece.owner_id, func.count())
        .where(Piece.owner_id.in_([one.id for one in shown]))
        .group_by(Piece.owner_id)
    )
    more = len(found) > most
    return CustomerPage(
        customers=shown,
        piece_counts={owner: count for owner, count in counts},  # noqa: C416 - rows are not pairs to mypy
        more=more,
        whole=not (more or last or begin),
    )


def list_jobs_of(
    session: Session, customer_id: int, before: int | None = None, most: int = 100
) -> list[Job]:
    """List a customer's jobs, newest first, or those before a job."""
    wanted = (
        select(Job)
        .where(Job.customer_id == customer_id)
        .options(joinedload(Job.piece).joinedload(Piece.owner))
        .order_by(Job.number.desc())
        .limit(most)
    )
    if before is not None:
        wanted = wanted.where(Job.number < before)
    return list(session.scalars(wanted))


@dataclass(frozen=True, slots=True)
class Known:
    """What tells a customer from another of the same name: the last visit, or a piece."""

    piece: Piece
    last_here: date | None


def tell_apart(session: Session, customer_ids: Sequence[int]) -> dict[int, Known]:
    """Give for each customer the last visit and its piece, else a piece of theirs, if any."""
    newest = (
        select(func.max(Job.number))
        .where(Job.customer_id.in_(customer_ids))
        .group_by(Job.customer_id)
    )
    jobs = session.scalars(select(Job).where(Job.number.in_(newest)).options(joinedload(Job.piece)))
    known = {job.customer_id: Known(job.piece, job.dropped_off) for job in jobs}
    if others := [one for one in customer_ids if one not in known]:
        first = (
            select(func.min(Piece.id)).where(Piece.owner_id.in_(others)).group_by(Piece.owner_id)
        )
        for piece in session.scalars(select(Piece).where(Piece.id.in_(first))):
            known[piece.owner_id] = Known(piece, None)
    return known


def add_instrument(session: Session, customer_id: int, entry: InstrumentEntry) -> Instrument:
    """Write down an instrument of a customer's."""
    instrument = Instrument(customer_id=customer_id, **asdict(entry))
    session.add(instrument)
    session.flush()
    return instrument
