"""Photographs: what is written beside them in the database, their dots in the book's folder."""

import secrets
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from datetime import date, datetime
from pathlib import Path

from sqlalchemy import Connection, select
from sqlalchemy.orm import Session

from app.core.jobs.photos import PhotoEntry, name_photo
from app.store.files import PHOTOS_NAME, make_private_folder, written_whole
from app.store.names import is_photo_name, place_within
from app.store.problems import BookProblem
from app.store.records.jobs import add_event
from app.store.records.keeping import keep
from app.store.records.session_cache import remember
from app.store.tables import Forgetting, Job, Photo

SIZES = {"": "", "small": "-small"}


def add_photo(
    session: Session,
    book: Path,
    piece_id: int,
    job: Job | None,
    entry: PhotoEntry,
    size_px: tuple[int, int],
    contents: Mapping[str, bytes],
    *,
    today: date,
    now: datetime,
) -> Photo:
    """Keep a photograph: its files, whole on the disk, then its record; raises OSError.

    `contents` holds JPEG by size ("" and "small"). A file without a record, left by a crash in
    between, does no harm.
    """
    name = f"{now:%Y%m%d}-{secrets.token_hex(8)}"
    make_private_folder(book / PHOTOS_NAME)
    for size, content in contents.items():
        with written_whole(photo_path(book, name, size)) as file:
            file.write(content)
    photo = keep(
        session,
        Photo(
            piece_id=piece_id,
            job_id=job.id if job else None,
            **asdict(entry),
            name=name,
            width_px=size_px[0],
            height_px=size_px[1],
            created_at=now,
        ),
    )
    if job:
        words = name_photo(entry.moment, entry.view, entry.caption)
        add_event(session, job, "photo", today, now, f"Photograph. {words}")
    return photo


def photo_path(book: Path, name: str, size: str = "") -> Path:
    """Say where a photograph's file lies; raises BookProblem for a name that is none.

    A row may have come from a backup or an export that somebody forged.
    """
    if not is_photo_name(name):
        raise BookProblem(f"{name!r} is no photograph's name.")
    return place_within(book / PHOTOS_NAME, f"{name}{SIZES[size]}.jpg")


def read_photo(book: Path, photo: Photo, size: str = "") -> bytes | None:
    """A photograph's JPEG, or None if its file is gone."""
    with suppress(BookProblem, FileNotFoundError):
        return photo_path(book, photo.name, size).read_bytes()
    return None


def refuse_strange_names(connection: Connection, whose: str) -> None:
    """Raise BookProblem if a record names a photograph as this program never does."""
    names = list(connection.execute(select(Photo.name)).scalars())
    for left in connection.execute(select(Forgetting.files_left)).scalars():
        names += left if isinstance(left, list) else [left]
    if strange := next((name for name in names if not is_photo_name(str(name))), None):
        raise BookProblem(
            f"{whose} names a photograph {strange!r}, which is no photograph's name. "
            "Nothing has been changed."
        )


def list_photos(
    session: Session, *, job_id: int | None = None, piece_id: int | None = None
) -> list[Photo]:
    """List the photographs of a job, or of a piece, in the order they were kept."""
    of = Photo.job_id == job_id if job_id is not None else Photo.piece_id == piece_id

    def read() -> list[Photo]:
        return list(session.scalars(select(Photo).where(of).order_by(Photo.id)))

    return remember(session, ("photos", job_id, piece_id), read)
