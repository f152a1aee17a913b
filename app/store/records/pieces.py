"""Pieces, their owners now and before, and their whole history."""

from dataclasses import asdict
from datetime import date, datetime

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.core.values.pieces import PieceEntry
from app.store.records.keeping import keep
from app.store.records.revisions import change_record
from app.store.records.search import search_text_of
from app.store.tables import Job, Ownership, Piece


def add_piece(
    session: Session, owner_id: int, entry: PieceEntry, today: date, now: datetime
) -> Piece:
    """Write a new piece down under its owner."""
    words = search_text_of(entry)
    piece = keep(
        session, Piece(owner_id=owner_id, **asdict(entry), search_text=words, created_at=now)
    )
    keep(session, Ownership(piece_id=piece.id, customer_id=owner_id, since=today))
    return piece


def save_piece(
    session: Session, piece: Piece, entry: PieceEntry, seen_version: int | None, now: datetime
) -> None:
    """Change a piece, keeping the earlier words; raises Conflict."""
    changes = {**asdict(entry), "search_text": search_text_of(entry)}
    change_record(session, piece, changes, seen_version=seen_version, now=now)


def pass_on_piece(
    session: Session,
    piece: Piece,
    new_owner_id: int,
    since: date,
    seen_version: int | None,
    now: datetime,
) -> None:
    """Note that a piece was sold on; its history stays with it."""
    changed = change_record(
        session, piece, {"owner_id": new_owner_id}, seen_version=seen_version, now=now
    )
    if changed:
        keep(session, Ownership(piece_id=piece.id, customer_id=new_owner_id, since=since))


def get_piece(session: Session, piece_id: int) -> Piece | None:
    """A piece with its owner."""
    return session.scalar(_one_piece(piece_id))


def get_owned_piece(session: Session, piece_id: int) -> Piece | None:
    """A piece with its owners, now and before."""
    owners = selectinload(Piece.ownerships).joinedload(Ownership.customer)
    return session.scalar(_one_piece(piece_id).options(owners))


def _one_piece(piece_id: int) -> Select[Piece]:
    return select(Piece).where(Piece.id == piece_id).options(joinedload(Piece.owner))


def list_jobs_on(session: Session, piece_id: int) -> list[Job]:
    """List a piece’s jobs, newest first, each with its ticks, events, passes, works and slips."""
    parts = (Job.ticks, Job.events, Job.passes, Job.works, Job.slips)
    jobs = (
        select(Job)
        .where(Job.piece_id == piece_id)
        .options(joinedload(Job.customer), *map(selectinload, parts))
        .order_by(Job.number.desc())
    )
    return list(session.scalars(jobs))
