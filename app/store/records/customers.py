"""Customers and their instruments."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import func, select, tuple_
from sqlalchemy.orm import Session, joinedload, selectinload

from app.core.jobs.stages import EXPECTED
from app.core.values.customers import CustomerEntry, InstrumentEntry
from app.store.records.keeping import keep
from app.store.records.revisions import change_record
from app.store.records.search import fold, search_text_of
from app.store.tables import Customer, Instrument, Job, Ownership, Piece


def add_customer(session: Session, entry: CustomerEntry, now: datetime) -> Customer:
    """Write a new customer down."""
    return keep(
        session, Customer(**asdict(entry), search_text=search_text_of(entry), created_at=now)
    )


def save_customer(
    session: Session,
    customer: Customer,
    entry: CustomerEntry,
    seen_version: int | None,
    now: datetime,
) -> None:
    """Change a customer, keeping the earlier words; raises Conflict."""
    changes = {**asdict(entry), "search_text": search_text_of(entry)}
    change_record(session, customer, changes, seen_version=seen_version, now=now)


def get_customer(session: Session, customer_id: int) -> Customer | None:
    """A customer with their pieces and instruments."""
    own = selectinload(Customer.pieces.and_(Piece.joined_to_id.is_(None)))
    wanted = select(Customer).where(Customer.id == customer_id)
    return session.scalar(wanted.options(own, selectinload(Customer.instruments)))


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
    wanted = select(Customer).where(Customer.joined_to_id.is_(None))
    wanted = wanted.order_by(Customer.search_text, Customer.id).limit(most + 1)
    last = session.get(Customer, after) if after is not None else None
    begin = fold(start).strip()
    if last:
        place = tuple_(Customer.search_text, Customer.id)
        wanted = wanted.where(place > (last.search_text, last.id))
    elif begin:
        wanted = wanted.where(Customer.search_text >= begin)  # folded: Øyvind stands under O
    customers = session.scalars(wanted).all()
    shown = tuple(customers[:most])
    counts = session.execute(
        select(Piece.owner_id, func.count())
        .where(
            Piece.owner_id.in_([customer.id for customer in shown]), Piece.joined_to_id.is_(None)
        )
        .group_by(Piece.owner_id)
    )
    more = len(customers) > most
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
    jobs = select(Job).where(Job.customer_id == customer_id)
    if before is not None:
        jobs = jobs.where(Job.number < before)
    whose = joinedload(Job.piece).joinedload(Piece.owner)
    return list(session.scalars(jobs.options(whose).order_by(Job.number.desc()).limit(most)))


@dataclass(frozen=True, slots=True)
class Known:
    """What tells a customer from another of the same name: the last visit, or a piece."""

    piece: Any  # its name: maker, model, marking, telling marks
    last_here: date | None


def tell_apart(session: Session, customer_ids: Sequence[int]) -> dict[int, Known]:
    """By customer, the last visit and its piece, else a piece of theirs, if any."""
    if not customer_ids:
        return {}
    name = (Piece.maker, Piece.model, Piece.marking, Piece.telling_marks)
    visited = Job.customer_id.in_(customer_ids), Job.stage != EXPECTED
    last = select(func.max(Job.number)).where(*visited).group_by(Job.customer_id)
    visits = select(Job.customer_id, Job.dropped_off, *name).join(Job.piece)
    known = {
        visit.customer_id: Known(visit, visit.dropped_off)
        for visit in session.execute(visits.where(Job.number.in_(last)))
    }
    others = Piece.owner_id.in_(
        [customer_id for customer_id in customer_ids if customer_id not in known]
    )
    first = select(func.min(Piece.id)).where(others).group_by(Piece.owner_id)
    for piece in session.execute(select(Piece.owner_id, *name).where(Piece.id.in_(first))):
        known[piece.owner_id] = Known(piece, None)
    return known


def list_former_pieces(session: Session, customer_id: int) -> list[Piece]:
    """List the pieces that a customer owned and that are another's now, newest first."""
    owned = select(Ownership.piece_id).where(Ownership.customer_id == customer_id)
    return list(
        session.scalars(
            select(Piece)
            .where(Piece.id.in_(owned), Piece.owner_id != customer_id, Piece.joined_to_id.is_(None))
            .options(joinedload(Piece.owner))
            .order_by(Piece.id.desc())
        )
    )


def add_instrument(session: Session, customer_id: int, entry: InstrumentEntry) -> Instrument:
    """Write down an instrument of a customer's."""
    return keep(session, Instrument(customer_id=customer_id, **asdict(entry)))
