"""Two records that are one: a piece written down twice, or a customer; and taking it back.

Every row that points to the one that goes is led over to the one that is kept, and named in
`Joining.moved`; what the kept one has empty is filled. The other stays as it was written, marked by
`joined_to_id`, so that taken apart again each has its own rows; what came later stays.
"""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import inspect, select
from sqlalchemy.orm import Session

from app.core.values.pieces import PieceEntry, name_piece
from app.store.records.jobs import add_event, find_open_job
from app.store.records.keeping import keep
from app.store.records.revisions import change_record
from app.store.records.search import find_pieces, fold, renew_piece_line, search_text_of
from app.store.tables import (
    Base,
    BatchPiece,
    Customer,
    Forgetting,
    Job,
    Joining,
    Memo,
    Ownership,
    Photo,
    Piece,
    ReadingSet,
    Slip,
)

Joined = Piece | Customer
_BLANK: dict[str, Any] = {"material": "unknown"}
_FILLED = {
    Piece: (
        "model", "maker", "marking", "material", "table_length_mm", "window_end_mm",
        "table_allowance_mm", "tip_slope_deg", "beak_slope_deg", "telling_marks", "notes",
    ),
    Customer: ("phone", "email", "address", "plays", "notes"),
}  # fmt: skip
_STAY = {("customer_id", Forgetting)}


def find_alike(session: Session, entry: PieceEntry, most: int = 6) -> list[Piece]:
    """Find pieces of the same maker, model and marking for the same instrument, newest first.

    With fewer than two of the three nothing is alike: a marking alone is on many.
    """
    stamped = (entry.maker, entry.model, entry.marking)
    if sum(bool(words) for words in stamped) < 2:
        return []
    wanted = [fold(words) for words in stamped]
    return [
        piece
        for piece in find_pieces(session, " ".join(stamped), most=200)
        if piece.instrument_kind == entry.instrument_kind
        and [fold(words) for words in (piece.maker, piece.model, piece.marking)] == wanted
    ][:most]


def find_hindrance(session: Session, kept: Joined, gone: Joined) -> str:
    """Say in words why two records can't be made one; empty if they can."""
    noun = kept.__tablename__
    if kept.id == gone.id:
        return f"That is the same {noun} already."
    if kept.joined_to_id or gone.joined_to_id:
        return f"One of them is part of another {noun} already."
    if isinstance(kept, Customer):
        ids = [kept.id, gone.id]
        if session.scalar(select(Forgetting.id).where(Forgetting.customer_id.in_(ids)).limit(1)):
            return "One of them asked to be forgotten."
        return ""
    made = select(BatchPiece).where(BatchPiece.piece_id.in_([kept.id, gone.id]))
    if len(session.scalars(made).all()) > 1:
        return "Both stand in a batch, as pieces of their own."
    both = [find_open_job(session, record.id) for record in (kept, gone)]
    if all(both):
        numbers = " and ".join(str(job.number) for job in both if job)
        return (
            f"Both are here or expected, for jobs {numbers}; a piece is in one order at a time. "
            "If it is one piece, say of one of the jobs that it went home unworked, then join them."
        )
    return ""


def join_records(session: Session, kept: Joined, gone: Joined, now: datetime) -> Joining:
    """Make two records one; raises ValueError where `find_hindrance` says why not."""
    if words := find_hindrance(session, kept, gone):
        raise ValueError(words)
    moved: dict[str, Any] = {}
    for record, column in _pointing(session, gone):
        moved.setdefault(f"{record.__tablename__}.{column}", []).append(
            list(inspect(record).identity)
        )
        setattr(record, column, kept.id)
    names = [
        name for name in _FILLED[type(kept)] if _is_blank(kept, name) and not _is_blank(gone, name)
    ]
    changes = {name: getattr(gone, name) for name in names}
    session.flush()
    if isinstance(kept, Piece):
        owned = select(Ownership).where(Ownership.piece_id == kept.id)
        last = session.scalars(owned.order_by(Ownership.since.desc(), Ownership.id.desc())).first()
        if last:
            moved["owner"] = kept.owner_id
            changes["owner_id"] = last.customer_id
    _change(session, kept, changes, now)
    gone.joined_to_id = kept.id
    moved["filled"] = names
    return keep(
        session,
        Joining(noun=kept.__tablename__, kept_id=kept.id, gone_id=gone.id, at=now, moved=moved),
    )


def undo_joining(session: Session, joining: Joining, now: datetime) -> None:
    """Take two records apart again; what came later stays with the one that was kept."""
    kind = Piece if joining.noun == "piece" else Customer
    kept: Any = session.get_one(kind, joining.kept_id)
    gone: Any = session.get_one(kind, joining.gone_id)
    kinds = {mapper.class_.__tablename__: mapper.class_ for mapper in Base.registry.mappers}
    for place, keys in joining.moved.items():
        table, dot, column = place.partition(".")
        for key in keys if dot else ():
            record = session.get(kinds[table], _moved_key(table, key, joining))
            if record is not None and getattr(record, column) == kept.id:
                setattr(record, column, gone.id)
    changes: dict[str, Any] = {
        name: _BLANK.get(name, "" if isinstance(getattr(gone, name), str) else None)
        for name in joining.moved["filled"]
        if getattr(kept, name) == getattr(gone, name)
    }
    if "owner" in joining.moved and kept.owner_id == gone.owner_id:
        changes["owner_id"] = joining.moved["owner"]
    gone.joined_to_id = None
    _change(session, kept, changes, now)
    if kind is Piece:
        renew_piece_line(session, kept.id)
    joining.undone_at = now
    session.flush()


def list_joinings(session: Session, record: Joined) -> Sequence[tuple[Joining, Any]]:
    """List what was made one with a record and still is, each with the other as it was written."""
    kind = type(record)
    rows = session.execute(
        select(Joining, kind)
        .join(kind, kind.id == Joining.gone_id)
        .where(
            Joining.noun == record.__tablename__,
            Joining.kept_id == record.id,
            Joining.undone_at.is_(None),
        )
        .order_by(Joining.id)
    )
    return [(joining, other) for joining, other in rows]


def move_to_piece(session: Session, job: Job, piece: Piece, today: date, now: datetime) -> None:
    """Lead a job over to the piece it was about, with its readings, photographs and papers."""
    was = session.get_one(Piece, job.piece_id)
    kinds: tuple[Any, ...] = (ReadingSet, Photo, Slip, Memo)
    for kind in kinds:
        for record in session.scalars(select(kind).where(kind.job_id == job.id)):
            record.piece_id = piece.id
    change_record(session, job, {"piece_id": piece.id}, seen_version=None, now=now)
    names = [
        f"{name_piece(p.maker, p.model, p.marking, p.telling_marks)} (piece {p.id})"
        for p in (was, piece)
    ]
    words = f"Led over to {names[1]}; it stood under {names[0]}."
    add_event(session, job, "note", today, now, words)


def _pointing(session: Session, gone: Joined) -> Iterator[tuple[Any, str]]:
    """Every record that points to one, with the column by which it does."""
    target = type(gone).__table__
    for mapper in Base.registry.mappers:
        for attribute in mapper.column_attrs:
            (column, *_) = attribute.columns
            points = any(key.references(target) for key in getattr(column, "foreign_keys", ()))
            if not points or (attribute.key, mapper.class_) in _STAY:
                continue
            held = getattr(mapper.class_, attribute.key)
            for record in session.scalars(select(mapper.class_).where(held == gone.id)).all():
                yield record, attribute.key


def _moved_key(table: str, key: list[Any], joining: Joining) -> tuple[Any, ...]:
    """Say under which key a row stands since it was led over: a batch's piece is part of it."""
    if table == BatchPiece.__tablename__:
        return tuple(joining.kept_id if part == joining.gone_id else part for part in key)
    return tuple(key)


def _is_blank(record: Joined, name: str) -> bool:
    return getattr(record, name) in {None, "", _BLANK.get(name)}


def _change(session: Session, record: Any, changes: dict[str, Any], now: datetime) -> None:
    change_record(session, record, changes, seen_version=None, now=now)
    record.search_text = search_text_of(record)
    session.flush()
