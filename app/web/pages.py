"""What every page needs: sessions, the form as typed, templates, and find-or-404."""

import asyncio
import codecs
import hashlib
import re
import secrets
from collections.abc import AsyncIterator
from contextlib import AbstractContextManager, ExitStack, asynccontextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

from fastapi import Depends, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from sqlalchemy.orm import Session

from app.core.compare.effort_words import LEFT_OUT
from app.core.facing.measurements import ROLES
from app.core.jobs.charges import PAYMENT_SIGNS
from app.core.jobs.jobs import OUTCOMES, RETURN_WAYS, days_late, say_wanted
from app.core.jobs.photos import MOMENTS, VIEWS, name_photo, pair_photos
from app.core.jobs.slips import SLIP_KINDS, kinds_about
from app.core.jobs.stages import STAGES, course_of
from app.core.shop.erasure import say_whose
from app.core.values import forms, units
from app.core.values.customers import INSTRUMENT_KINDS
from app.core.values.forms import Fields, Refused, short_date
from app.core.values.passes import CUT_KINDS
from app.core.values.pieces import MATERIAL_DISINFECTING, MATERIALS, name_piece
from app.core.values.works import label_work, work_choices
from app.packed import folder_of
from app.store.book.sessions import Sessions
from app.store.records.jobs import get_job
from app.store.records.pieces import get_piece
from app.store.records.submissions import find_submission, keep_submission
from app.store.tables import Job, Piece
from app.web.settings import Settings

if TYPE_CHECKING:
    from typing_extensions import TypeIs

Found = TypeVar("Found")
MOST_FILE_BYTES = 20_000
MOST_FILES = 12  # in one form
# Fields that a page adds by itself: they may differ when the same form is sent again.
UNTYPED = {"token", "asked", "again"}


class TakenBefore(Exception):  # noqa: N818 - answered with where it led
    """A form was taken before; `location` is where it led."""

    def __init__(self, location: str) -> None:
        super().__init__(location)
        self.location = location


class SentOtherwise(TakenBefore):
    """A form was taken before, with other content than now."""


@dataclass(slots=True)
class Form:
    """A form as typed: the last value of each field, and all values of ticked ones."""

    values: dict[str, str] = field(default_factory=dict)
    lists: dict[str, list[str]] = field(default_factory=dict)
    problems: dict[str, str] = field(default_factory=dict)
    questions: dict[str, str] = field(default_factory=dict)
    again: bool = False  # whether a reading is to be taken again

    def add(self, name: str, value: str) -> None:
        """Take a field in; what can't be written down (a lone surrogate) becomes a mark."""
        value = value.encode("utf-8", "replace").decode()
        self.values[name] = value
        self.lists.setdefault(name, []).append(value)

    def refuse(self, refused: Refused | Fields) -> None:
        """Take over what is wrong, to be said beside the fields."""
        self.problems = dict(refused.problems)

    def is_refused(self, parsed: object) -> "TypeIs[Refused]":
        """Whether what was typed was refused; what is wrong is then taken over."""
        if isinstance(parsed, Refused):
            self.refuse(parsed)
        return isinstance(parsed, Refused)

    def digest(self) -> str:
        """Hash everything typed: the same form sent again has the same."""
        typed = {name: values for name, values in self.lists.items() if name not in UNTYPED}
        return hashlib.sha256(repr(sorted(typed.items())).encode()).hexdigest()

    def get(self, name: str, default: str = "") -> str:
        """A field as typed."""
        return self.values.get(name, default)

    def ticked(self, name: str) -> list[str]:
        """Every value of a field that may have several."""
        return self.lists.get(name, [])

    @property
    def seen_version(self) -> int | None:
        """The version of the record that the page showed, if it says."""
        return self.number("version")

    def number(self, name: str) -> int | None:
        """A record's number in a field; None for anything else."""
        return forms.as_number(self.get(name))


async def read_form(request: Request) -> Form:
    """Read the request's form without judging it; a file in it is refused."""
    return await _read_form(request, most_files=0)


async def read_form_with_columns(request: Request) -> Form:
    """Read a form that may bring two small files of text; their text becomes their field's."""
    return await _read_form(request, most_files=2)


async def _read_form(request: Request, most_files: int) -> Form:
    form = Form()
    request.state.typed = form  # so that no trouble later on loses it
    async with request.form(max_files=most_files, max_fields=400) as data:
        for name, value in data.multi_items():
            if isinstance(value, str):
                form.add(name, value)
            elif value.size:
                text = as_text(await value.read(MOST_FILE_BYTES + 1))
                if text is None:
                    form.problems[name] = "This is not a small file of text with two columns."
                else:
                    form.add(name, text)
    return form


def as_text(content: bytes) -> str | None:
    """Read a small file as text; None for anything else."""
    if len(content) > MOST_FILE_BYTES:
        return None
    marked = content[:2] in {codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE}
    try:
        text = content.decode("utf-16" if marked else "utf-8-sig")
    except UnicodeDecodeError:
        return None
    # what is left of control signs is no table of numbers
    return None if any(ord(sign) < 32 and sign not in "\t\r\n" for sign in text) else text


def _sessions(request: Request) -> Sessions:
    return request.app.state.sessions  # type: ignore[no-any-return]


# These three are coroutines so that no thread is asked for what takes no time: a session reaches
# for the database at its first query, in the handler's own thread.
async def read_session(request: Request) -> AsyncIterator[Session]:
    """Open a session for looking only."""
    async with _closing(_sessions(request).read(), request) as session:
        yield session


async def write_session(request: Request) -> AsyncIterator[Session]:
    """Open a session that may write; the handler commits, anything else is undone."""
    async with _closing(_sessions(request).write(), request) as session:
        yield session


@asynccontextmanager
async def _closing(
    opened: AbstractContextManager[Session], request: Request
) -> AsyncIterator[Session]:
    """Hold a session open; a server that is slow to answer must not hold up other pages."""
    if not _sessions(request).far:
        with opened as session:
            yield session
        return
    stack = ExitStack()
    try:
        yield stack.enter_context(opened)
    finally:
        await asyncio.shield(asyncio.to_thread(stack.close))


def get_settings(request: Request) -> Settings:
    """The server's settings."""
    return request.app.state.settings  # type: ignore[no-any-return]


async def tell_settings(request: Request) -> Settings:
    """The server's settings, for a handler."""
    return get_settings(request)


ReadOnly = Annotated[Session, Depends(read_session)]
Writing = Annotated[Session, Depends(write_session)]
Typed = Annotated[Form, Depends(read_form)]
TypedWithColumns = Annotated[Form, Depends(read_form_with_columns)]
SettingsDep = Annotated[Settings, Depends(tell_settings)]


def found_or_404(record: Found | None, words: str) -> Found:
    """The record, or answer 404 with words."""
    if record is None:
        raise HTTPException(404, words)
    return record


def job_or_404(session: Session, number: int) -> Job:
    """The job with everything its page shows, or answer 404."""
    return found_or_404(get_job(session, number), "There is no job of that number in this book.")


def piece_or_404(session: Session, piece_id: int) -> Piece:
    """The piece with its owner, or answer 404."""
    return found_or_404(get_piece(session, piece_id), "There is no such piece in this book.")


@cache
def templates() -> Environment:
    """Make the template environment: strict, escaping, with the trade's own ways of writing."""
    environment = Environment(
        loader=FileSystemLoader(folder_of("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        date=forms.format_date,
        short_date=short_date,
        money=forms.format_money,
        mm=units.format_mm,
        signed=units.format_signed,
        blade=units.format_blade,
        plural=forms.plural,
        whose=say_whose,
        zip=zip,
        dialled=lambda text: re.sub(r"\(0\)|[^+\d]", "", re.split("[,;]", text)[0]),
        on_scale=units.format_on_scale,
        sentence=lambda words: words[:1].upper() + words[1:],
        plain=lambda value: "" if value is None else units.format_number(value, 4),
    )
    environment.globals.update(
        STAGES=STAGES,
        course_of=course_of,
        ROLES=ROLES,
        INSTRUMENT_KINDS=INSTRUMENT_KINDS,
        MATERIALS=MATERIALS,
        MATERIAL_DISINFECTING=MATERIAL_DISINFECTING,
        CUT_KINDS=CUT_KINDS,
        RETURN_WAYS=RETURN_WAYS,
        OUTCOMES=OUTCOMES,
        EFFORT_LEAVES_OUT=LEFT_OUT,
        MOMENTS=MOMENTS,
        VIEWS=VIEWS,
        name_photo=name_photo,
        pair_photos=pair_photos,
        SCALES=units.SCALES,
        piece_name=lambda piece: name_piece(
            piece.maker, piece.model, piece.marking, piece.telling_marks
        ),
        static=static_address,
        work_label=lambda work: label_work(work.kind, work.label, work.amount_mm),
        work_choices=work_choices,
        cut_options=lambda: [(kind.key, kind.label) for kind in CUT_KINDS.values()],
        amount=forms.format_amount,
        job_papers=lambda: kinds_about("job"),
        payment_label=lambda kind: PAYMENT_SIGNS[kind][0],
        slip_label=lambda kind: SLIP_KINDS[kind].label,
        new_token=lambda: secrets.token_urlsafe(18),
        say_wanted=say_wanted,
        days_late=days_late,
    )
    return environment


@cache
def fingerprint(path: Path) -> str:
    """What tells a file from any other of its name."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:12]


def static_address(name: str) -> str:
    """A static file's address; it changes with the file, so browsers may keep it."""
    return f"/static/{name}?v={fingerprint(folder_of('static') / name)}"


def show_page(
    request: Request, template: str, *, status: int = 200, form: Form | None = None, **values: Any
) -> HTMLResponse:
    """Print a page; a form that was refused comes back filled, with status 422."""
    shown = form or Form()
    if shown.problems:
        status = 422
    settings = get_settings(request)
    today: date = settings.today()
    text = templates().get_template(template).render(
        form=shown, path=request.url.path, query=request.query_params.get("q", ""),
        today=today, said=request.query_params.get("said", ""),
        made_up=request.app.state.made_up, throw_away=settings.throw_away, **values,
    )  # fmt: skip
    return HTMLResponse(text, status_code=status)


def go_to(location: str) -> RedirectResponse:
    """Send the browser on after a change: 303, so that a reload asks and never repeats."""
    return RedirectResponse(location, status_code=303)


def refuse_twice(session: Session, form: Form) -> None:
    """Raise TakenBefore for a form pressed twice, SentOtherwise if its content is another now."""
    taken = find_submission(session, form.get("token")[:64])
    if taken is None:
        return
    if taken.digest not in {"", form.digest()}:
        raise SentOtherwise(taken.location)
    raise TakenBefore(taken.location)


def note_taken(session: Session, form: Form, location: str, now: datetime) -> None:
    """Remember that this form was taken; part of the same transaction."""
    keep_submission(session, form.get("token")[:64], location, form.digest(), now)


def commit_once(session: Session, form: Form, location: str, now: datetime) -> RedirectResponse:
    """Keep what the handler wrote, with the note that its form was taken, and lead on."""
    note_taken(session, form, location, now)
    session.commit()
    return go_to(location)
