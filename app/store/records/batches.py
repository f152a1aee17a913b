"""Batches of the shop's own making, their pieces, and the shop as the owner of them."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from app.core.jobs.batches import BatchEntry, PiecesEntry
from app.core.values.customers import CustomerEntry
from app.core.values.forms import format_money
from app.core.values.pieces import PieceEntry
from app.store.records.customers import add_customer
from app.store.records.facings import KeptFacing, get_facing
from app.store.records.keeping import keep
from app.store.records.measurements import Measurement, list_own_measurements, standing
from app.store.records.memos import list_awaited
from app.store.records.pieces import add_piece
from app.store.records.shop import get_shop
from app.store.tables import Batch, BatchPiece, Memo, Piece, Revision


@dataclass(frozen=True, slots=True)
class BatchLine:
    """A batch as a line in a list."""

    batch: Batch
    facing: KeptFacing
    piece_count: int


@dataclass(frozen=True, slots=True)
class MadePiece:
    """A piece of a batch with the last readings taken of it in the shop's own hands."""

    place: int
    piece: Piece
    last: Measurement | None
    left_at: datetime | None = None
    price_minor: int | None = None
    trial: Memo | None = None


def own_customer_id(session: Session, now: datetime) -> int:
    """The customer that the shop itself is; written down when first asked for."""
    shop = get_shop(session)
    if shop.customer_id is None:
        notes = "The shop itself: the owner of the pieces it makes, until they are sold on."
        entry = CustomerEntry(shop.name, shop.phone, shop.email, shop.address, "", notes)
        shop.customer_id = add_customer(session, entry, now).id
        session.flush()
    return shop.customer_id


def add_batch(session: Session, entry: BatchEntry, now: datetime) -> Batch:
    """Begin a batch without pieces."""
    return keep(session, Batch(**asdict(entry), created_at=now))


def add_batch_pieces(
    session: Session,
    batch: Batch,
    entry: PiecesEntry,
    instrument_kind: str,
    today: date,
    now: datetime,
) -> None:
    """Write pieces down as the shop's own, after those the batch has."""
    owner_id, maker = own_customer_id(session, now), get_shop(session).name
    last = session.scalar(select(func.max(BatchPiece.place)).where(BatchPiece.batch_id == batch.id))
    for place, marking in enumerate(entry.markings, start=(last or 0) + 1):
        made = PieceEntry(
            instrument_kind=instrument_kind,
            maker=maker,
            model=batch.name,
            marking=marking,
            material=entry.material,
            table_length_mm=None,
            telling_marks="",
            notes="",
        )
        piece = add_piece(session, owner_id, made, today, now)
        keep(session, BatchPiece(batch_id=batch.id, piece_id=piece.id, place=place))


def list_batches(session: Session, facing_id: int | None = None) -> list[BatchLine]:
    """List the batches, newest first; those made to one facing only, if asked."""
    batches = (
        select(Batch, func.count(BatchPiece.piece_id))
        .outerjoin(BatchPiece, (BatchPiece.batch_id == Batch.id) & BatchPiece.left_at.is_(None))
        .group_by(Batch.id)
        .order_by(Batch.started_on.desc(), Batch.id.desc())
    )
    if facing_id is not None:
        batches = batches.where(Batch.facing_id == facing_id)
    lines = []
    for batch, count in session.execute(batches):
        facing = get_facing(session, batch.facing_id)
        assert facing is not None  # noqa: S101 - the table's foreign key holds it
        lines.append(BatchLine(batch, facing, count))
    return lines


def move_out(
    session: Session, batch: Batch, piece_id: int, *, left: bool, now: datetime
) -> Piece | None:
    """Take a piece out of its batch, or bring it back; both stay written. None if it has no place.

    The readings stay the piece's own. Pressed in two windows it does not undo itself.
    """
    kept = session.scalar(
        select(BatchPiece)
        .where(BatchPiece.batch_id == batch.id, BatchPiece.piece_id == piece_id)
        .options(joinedload(BatchPiece.piece))
    )
    if kept is None:
        return None
    if left != (kept.left_at is not None):
        before = {kept.piece.marking or f"piece {kept.place}": "was in it" if left else "had left"}
        session.add(Revision(noun="batch", record_id=batch.id, at=now, before=before))
        kept.left_at = now if left else None
        session.flush()
    return kept.piece


def find_batch_of(session: Session, piece_id: int) -> Any:
    """The batch a piece was made in and has not left (id, name), and its place there."""
    batches = select(Batch.id, Batch.name, BatchPiece.place).join(
        BatchPiece, BatchPiece.batch_id == Batch.id
    )
    here = BatchPiece.piece_id == piece_id, BatchPiece.left_at.is_(None)
    return session.execute(batches.where(*here)).first()


def price_of(session: Session, piece: Piece) -> int | None:
    """What a piece of the shop's own is for sale at."""
    of = BatchPiece.piece_id == piece.id
    return session.scalar(select(BatchPiece.price_minor).where(of))


def list_made_pieces(session: Session, batch_id: int) -> list[MadePiece]:
    """List a batch's pieces in the order made, each with its last readings; those that left too.

    Readings of a customer's job are left out: what was done to a piece after it was sold says
    nothing of the batch.
    """
    kept = session.scalars(
        select(BatchPiece)
        .where(BatchPiece.batch_id == batch_id)
        .options(joinedload(BatchPiece.piece).joinedload(Piece.owner))
        .order_by(BatchPiece.place)
    ).all()
    sets = _own_sets(session, [place.piece_id for place in kept])
    trials = {memo.piece_id: memo for memo in list_awaited(session) if memo.kind == "trial"}
    return [
        MadePiece(
            place.place,
            place.piece,
            sets.get(place.piece_id),
            place.left_at,
            place.price_minor,
            trials.get(place.piece_id),
        )
        for place in kept
    ]


def save_prices(
    session: Session, batch: Batch, prices: Mapping[int, int | None], currency: str, now: datetime
) -> None:
    """Keep what each piece is for sale at, by its id; the batch says what it was before."""
    kept = session.scalars(
        select(BatchPiece)
        .where(BatchPiece.batch_id == batch.id, BatchPiece.piece_id.in_(prices))
        .options(joinedload(BatchPiece.piece))
    )
    before = {}
    for place in kept:
        if place.price_minor != prices[place.piece_id]:
            name = f"price of {place.piece.marking or place.place}"
            before[name] = format_money(place.price_minor, currency)
            place.price_minor = prices[place.piece_id]
    if before:
        keep(session, Revision(noun="batch", record_id=batch.id, at=now, before=before))


def _own_sets(session: Session, piece_ids: Sequence[int]) -> dict[int, Measurement]:
    """By piece, the last standing readings that tell of its facing."""
    made = list_own_measurements(session, piece_ids, get_shop(session).customer_id)
    return {
        measurement.piece_id: measurement
        for measurement in standing(made)
        if measurement.facing.left
        or measurement.facing.right
        or measurement.facing.tip_opening_mm is not None
    }
