"""Papers as issued: numbered, kept with what they printed, and never made again."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload, undefer_group

from app.store.records.jobs import add_event
from app.store.records.keeping import keep
from app.store.tables import Job, Piece, Slip, SlipFile


def issue_slip(
    session: Session,
    piece: Piece,
    job: Job | None,
    kind: str,
    label: str,
    *,
    paper: str,
    printed: dict[str, Any],
    html: str,
    files: Mapping[str, bytes],
    today: date,
    now: datetime,
) -> Slip:
    """Keep a paper as printed, under the next number, with its files by name."""
    slip = keep(
        session,
        Slip(
            number=next_slip_number(session),
            piece_id=piece.id,
            job_id=job.id if job else None,
            kind=kind,
            issued_on=today,
            issued_at=now,
            paper=paper,
            sheet="",
            printed=printed,
            html=html,
            files=[SlipFile(name=name, content=content) for name, content in files.items()],
        ),
    )
    if job:
        add_event(session, job, "slip", today, now, f"{label}, slip {slip.number}")
    return slip


def next_slip_number(session: Session) -> int:
    """The number the next paper will carry."""
    return (session.scalar(select(func.max(Slip.number))) or 0) + 1


def get_slip(session: Session, number: int) -> Slip | None:
    """An issued paper by its number, with its job and its piece."""
    whole = joinedload(Slip.job), joinedload(Slip.piece), undefer_group("paper")
    return session.scalar(select(Slip).where(Slip.number == number).options(*whole))


def get_slip_file(session: Session, number: int, name: str) -> bytes | None:
    """One file of an issued paper."""
    return session.scalar(
        select(SlipFile.content)
        .join(Slip, Slip.id == SlipFile.slip_id)
        .where(Slip.number == number, SlipFile.name == name)
    )


def list_slip_files(session: Session, number: int) -> list[str]:
    """Name the files of an issued paper."""
    return list(
        session.scalars(
            select(SlipFile.name)
            .join(Slip, Slip.id == SlipFile.slip_id)
            .where(Slip.number == number)
            .order_by(SlipFile.name)
        )
    )


def list_piece_slips(session: Session, piece_id: int) -> Sequence[Any]:
    """List the papers issued about a piece outside any job, oldest first: what a list says."""
    slips = select(Slip.id, Slip.number, Slip.kind, Slip.issued_on)
    slips = slips.where(Slip.piece_id == piece_id, Slip.job_id.is_(None))
    return session.execute(slips.order_by(Slip.number)).all()
