"""Customers and their instruments."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import BindParameter, Row, bindparam, func, select, tuple_
from sqlalchemy.orm import Session, joinedload

from app.core.jobs.stages import EXPECTED
from app.core.values.customers import CustomerEntry, InstrumentEntry
from app.store.records.loading import Hanging, rows_of
from app.store.records.lookups import fold, search_text_of
from app.store.records.revisions import change_record
from app.store.tables import Customer, Instrument, Job, Ownership, Piece


def add_customer(session: Session, entry: CustomerEntry, now: datetime) -> Customer:
    """Write a new customer down."""
    customer = Customer(**asdict(entry), search_text=search_text_of(entry), created_at=now)
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
    changes = {**asdict(entry), "search_text": search_text_of(entry)}
    change_record(session, customer, changes, seen_version=seen_version, now=now)


def get_customer(session: Session, customer_id: int) -> Customer | None:
    """A customer with their pieces and instruments."""
    customer = session.scalar(_CUSTOMER, {"id": customer_id})
    for kind in _ON_A_CUSTOMER if customer else ():
        kind.load(session, [customer])
    return customer


_CUSTOMER = select(Customer).where(Customer.id == bindparam("id"))
_ON_A_CUSTOMER = (
    Hanging(Customer.pieces, where=Piece.joined_to_id.is_(None)),
    Hanging(Customer.instruments),
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
    wanted = select(Customer).where(Customer.joined_to_id.is_(None))
    wanted = wanted.order_by(Customer.search_text, Customer.id).limit(most + 1)
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
        .where(Piece.owner_id.in_([one.id for one in shown]), Piece.joined_to_id.is_(None))
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
    values = {"customer": customer_id, "most": most, "before": before}
    if before is None:
        del values["before"]
    return list(session.scalars(_JOBS if before is None else _JOBS_BEFORE, values))


_JOBS = (
    select(Job)
    .where(Job.customer_id == bindparam("customer"))
    .options(joinedload(Job.piece).joinedload(Piece.owner))
    .order_by(Job.number.desc())
    .limit(bindparam("most"))
)
_JOBS_BEFORE = _JOBS.where(Job.number < bindparam("before"))


@dataclass(frozen=True, slots=True)
class Known:
    """What tells a customer from another of the same name: the last visit, or a piece."""

    piece: Row[Any]  # its name: maker, model, marking, telling marks
    last_here: date | None


def tell_apart(session: Session, customer_ids: Sequence[int]) -> dict[int, Known]:
    """By customer, the last visit and its piece, else a piece of theirs, if any."""
    if not customer_ids:
        return {}
    visits = rows_of(session, _LAST_VISITS, {"customers": list(customer_ids)})
    known = {one.customer_id: Known(one, one.dropped_off) for one in visits}
    if others := [one for one in customer_ids if one not in known]:
        for piece in rows_of(session, _FIRST_PIECES, {"customers": others}):
            known[piece.owner_id] = Known(piece, None)
    return known


_CUSTOMERS: BindParameter[Any] = bindparam("customers", expanding=True)
_NAME = (Piece.maker, Piece.model, Piece.marking, Piece.telling_marks)
_LAST_VISITS = (
    select(Job.customer_id, Job.dropped_off, *_NAME)
    .join(Piece, Piece.id == Job.piece_id)
    .where(
        Job.number.in_(
            select(func.max(Job.number))
            .where(Job.customer_id.in_(_CUSTOMERS), Job.stage != EXPECTED)
            .group_by(Job.customer_id)
        )
    )
)
_FIRST_PIECES = select(Piece.owner_id, *_NAME).where(
    Piece.id.in_(
        select(func.min(Piece.id)).where(Piece.owner_id.in_(_CUSTOMERS)).group_by(Piece.owner_id)
    )
)


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
    instrument = Instrument(customer_id=customer_id, **asdict(entry))
    session.add(instrument)
    session.flush()
    return instrument
