"""Photographs: sent from a file or a telephone, put side by side, served by their number."""

import hashlib
from dataclasses import dataclass
from typing import Annotated

from anyio import to_thread
from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session
from starlette.datastructures import UploadFile

from app.core.jobs.photos import USUAL_MOMENT, PhotoEntry, parse_photo
from app.core.values.forms import Refused
from app.render.photos import MOST_BYTES, MadePhoto, PhotoRefused, make_photo
from app.store.files import say_disk
from app.store.records.photos import (
    add_photo,
    list_photos,
    read_photo,
)
from app.store.records.revisions import save_entry
from app.store.tables import Job, Photo, Piece
from app.web.drawn import answer_picture
from app.web.pages import (
    MOST_FILES,
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    found_or_404,
    go_to,
    job_or_404,
    note_taken,
    piece_or_404,
    refuse_twice,
    show_page,
)

router = APIRouter()
NOT_HERE = "There is no such photograph in this book."


@dataclass(frozen=True, slots=True)
class Album:
    """Whose photographs a page shows: a job's, or all of a piece's."""

    piece: Piece
    job: Job | None

    @property
    def address(self) -> str:
        """The page the photographs belong to."""
        return f"/jobs/{self.job.number}" if self.job else f"/pieces/{self.piece.id}"


@dataclass(frozen=True, slots=True)
class Sent:
    """A form with photographs: its words, what could be decoded, and words for each that couldn't.

    Decoding is done before the handler's session reaches for the book: no writer waits for it.
    """

    form: Form
    made: tuple[tuple[str, MadePhoto], ...]
    refused: tuple[str, ...]


async def read_photos(request: Request) -> Sent:
    """Read a form with photographs and decode them, one at a time in the whole program."""
    form = Form()
    request.state.typed = form
    made, refused = [], []
    async with request.form(max_files=MOST_FILES, max_fields=40) as data:
        for name, value in data.multi_items():
            if not isinstance(value, UploadFile):
                form.add(name, value)
            elif value.filename or value.size:
                content = await value.read(MOST_BYTES + 1)
                form.add("photograph", hashlib.sha256(content).hexdigest())
                shown = (value.filename or "photograph")[-60:]
                try:
                    limiter = request.app.state.decoding
                    photo = await to_thread.run_sync(make_photo, content, limiter=limiter)
                    made.append((shown, photo))
                except PhotoRefused as error:
                    refused.append(f"“{shown}” {error}.")
    return Sent(form, tuple(made), tuple(refused))


WithPhotos = Annotated[Sent, Depends(read_photos)]


def _job_album(session: Session, number: int) -> Album:
    job = job_or_404(session, number)
    return Album(job.piece, job)


def _piece_album(session: Session, piece_id: int) -> Album:
    piece = piece_or_404(session, piece_id)
    return Album(piece, None)


def album_photos(session: Session, piece: Piece, job: Job | None) -> list[Photo]:
    """List the photographs to show: a job's, or all of a piece's; those taken off left out."""
    photos = list_photos(session, job_id=job.id) if job else list_photos(session, piece_id=piece.id)
    return [photo for photo in photos if photo.struck_at is None]


@router.get("/jobs/{number}/photos")
def index(request: Request, session: ReadOnly, number: int) -> HTMLResponse:
    """Show a job's photographs and a form for more."""
    return _page(request, session, _job_album(session, number), Form())


@router.get("/pieces/{piece_id}/photos")
def index_of_piece(request: Request, session: ReadOnly, piece_id: int) -> HTMLResponse:
    """Show all photographs of a piece and a form for more outside any job."""
    return _page(request, session, _piece_album(session, piece_id), Form())


def _page(request: Request, session: Session, album: Album, form: Form) -> HTMLResponse:
    if album.job:
        photos = list_photos(session, job_id=album.job.id)
    else:
        photos = list_photos(session, piece_id=album.piece.id)
    stage = album.job.stage if album.job else ""
    return show_page(
        request,
        "photos/index.html",
        form=form,
        album=album,
        photos=photos,
        usual_moment=USUAL_MOMENT.get(stage, "drop_off"),
        most_at_once=MOST_FILES,
        most_mb=MOST_BYTES // 1_000_000,
    )


@router.post("/jobs/{number}/photos")
def create(
    request: Request, session: Writing, sent: WithPhotos, settings: SettingsDep, number: int
) -> Response:
    """Keep photographs of a job."""
    return _take(request, session, _job_album(session, number), sent, settings)


@router.post("/pieces/{piece_id}/photos")
def create_of_piece(
    request: Request, session: Writing, sent: WithPhotos, settings: SettingsDep, piece_id: int
) -> Response:
    """Keep photographs of a piece outside any job."""
    return _take(request, session, _piece_album(session, piece_id), sent, settings)


def _take(
    request: Request, session: Session, album: Album, sent: Sent, settings: SettingsDep
) -> Response:
    form = sent.form
    refuse_twice(session, form)
    entry = parse_photo(form.values)
    if isinstance(entry, Refused):
        form.refuse(entry)
    if not sent.made and not sent.refused:
        form.problems["files"] = "Choose at least one photograph."
    if form.problems or isinstance(entry, Refused):
        return _page(request, session, album, form)
    kept, refused = _keep(session, album, entry, sent, settings)
    location = f"{album.address}/photos?said=photos"
    if kept:
        note_taken(session, form, location, settings.now())
        session.commit()
    if refused:
        count = len(sent.made) + len(sent.refused)
        words = f" {kept} of {count} were kept." if count > 1 else ""
        form.problems["files"] = f"{' '.join(refused)}{words}"
        return _page(request, session, album, form)
    return go_to(location)


def _keep(
    session: Session,
    album: Album,
    entry: PhotoEntry,
    sent: Sent,
    settings: SettingsDep,
) -> tuple[int, list[str]]:
    """Keep what can be kept; gives how many, and words for each that could not be."""
    kept, refused = 0, list(sent.refused)
    for shown, made in sent.made:
        try:
            add_photo(
                session,
                settings.book,
                album.piece.id,
                album.job,
                entry,
                (made.width_px, made.height_px),
                {"": made.content, "small": made.small},
                today=settings.today(),
                now=settings.now(),
            )
        except OSError as error:
            refused.append(f"“{shown}” could not be kept: {say_disk(error)}.")
        else:
            kept += 1
    return kept, refused


@router.get("/photos/{photo_id}")
def show(request: Request, session: ReadOnly, settings: SettingsDep, photo_id: int) -> Response:
    """Send a photograph."""
    return _answer(request, session, settings, photo_id, "")


@router.get("/photos/{photo_id}/small")
def show_small(
    request: Request, session: ReadOnly, settings: SettingsDep, photo_id: int
) -> Response:
    """Send a photograph, small."""
    return _answer(request, session, settings, photo_id, "small")


def _answer(
    request: Request, session: Session, settings: SettingsDep, photo_id: int, size: str
) -> Response:
    photo = found_or_404(session.get(Photo, photo_id), NOT_HERE)

    def read() -> bytes:
        content = read_photo(settings.book, photo, size)
        if content is None:
            raise HTTPException(404, "This photograph’s file is not in the book’s folder.")
        return content

    return answer_picture(request, (photo.name, size), read, "image/jpeg")


@router.post("/photos/{photo_id}")
def update(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, photo_id: int
) -> Response:
    """Change what is written beside a photograph."""
    photo = found_or_404(session.get(Photo, photo_id), NOT_HERE)
    album = _album_of(session, photo, form)
    entry = parse_photo(form.values)
    if isinstance(entry, Refused):
        form.problems = {f"{name}-{photo_id}": words for name, words in entry.problems.items()}
        return _page(request, session, album, form)
    save_entry(session, photo, entry, form.seen_version, settings.now())
    session.commit()
    return go_to(f"{album.address}/photos?said=kept#photo-{photo_id}")


@router.post("/photos/{photo_id}/strike")
def strike(session: Writing, form: Typed, settings: SettingsDep, photo_id: int) -> Response:
    """Take a photograph off the pages, or bring it back."""
    photo = found_or_404(session.get(Photo, photo_id), NOT_HERE)
    photo.struck_at = None if photo.struck_at else settings.now()
    session.commit()
    album = _album_of(session, photo, form)
    return go_to(f"{album.address}/photos#photo-{photo_id}")


def _album_of(session: Session, photo: Photo, form: Form) -> Album:
    """The album whose page the form stood on: the job's, unless it was the piece's."""
    if photo.job_id and (number := form.number("job")):
        return _job_album(session, number)
    return _piece_album(session, photo.piece_id)
