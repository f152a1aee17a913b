"""Pieces, their owners now and before, and their whole history."""

from dataclasses import asdict
from datetime import date, datetime

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, joinedload

from app.core.plan.piece_limits import PieceLimits
from app.core.values.pieces import PieceEntry
from app.store.records.loading import Hanging
from app.store.records.lookups import search_text_of
from app.store.records.revisions import change_record
from app.store.tables import Job, Ownership, Piece


def add_piece(
    session: Session, owner_id: int, entry: PieceEntry, today: date, now: datetime
) -> Piece:
    """Write a new piece down under its owner."""
    words = search_text_of(entry)
    piece = Piece(owner_id=owner_id, **asdict(entry), search_text=words, created_at=now)
    session.add(piece)
    session.flush()
    session.add(Ownership(piece_id=piece.id, customer_id=owner_id, since=today))
    session.flush()
    return piece


def save_piece(
    session: Session, piece: Piece, entry: PieceEntry, seen_version: int | None, now: datetime
) -> None:
    """Change a piece, keeping the earlier words; raises Conflict."""
    changes = {**asdict(entry), "search_text": search_text_of(entry)}
    change_record(session, piece, changes, seen_version=seen_version, now=now)


def save_limits(session: Session, piece: Piece, limits: PieceLimits, now: datetime) -> None:
    """Keep what a plan must know of a piece; what it said before is kept too."""
    change_record(session, piece, asdict(limits), seen_version=None, now=now)


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
        session.add(Ownership(piece_id=piece.id, customer_id=new_owner_id, since=since))
        session.flush()


def get_piece(session: Session, piece_id: int) -> Piece | None:
    """A piece with its owner."""
    return session.scalar(_PIECE, {"id": piece_id})


def get_owned_piece(session: Session, piece_id: int) -> Piece | None:
    """A piece with its owners, now and before."""
    piece = get_piece(session, piece_id)
    if piece:
        _OWNERSHIPS.load(session, [piece])
    return piece


_PIECE = select(Piece).where(Piece.id == bindparam("id")).options(joinedload(Piece.owner))
_OWNERSHIPS = Hanging(Piece.ownerships, joinedload(Ownership.customer))


def list_jobs_on(session: Session, piece_id: int) -> list[Job]:
    """List a piece’s jobs, newest first, each with its ticks, events, passes, works and slips."""
    jobs = list(session.scalars(_JOBS, {"piece": piece_id}))
    for kind in _ON_JOBS:
        kind.load(session, jobs)
    return jobs


_JOBS = (
    select(Job)
    .where(Job.piece_id == bindparam("piece"))
    .options(joinedload(Job.customer))
    .order_by(Job.number.desc())
)
_ON_JOBS = tuple(map(Hanging, (Job.ticks, Job.events, Job.passes, Job.works, Job.slips)))
