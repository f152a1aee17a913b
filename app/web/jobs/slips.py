"""Papers: a preview, then issued once and kept as printed; a reprint shows just that."""

from dataclasses import asdict
from datetime import date
from functools import partial

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.jobs.slips import CARD_KINDS, PAGES, SLIP_KINDS, SlipKind
from app.render.slip_pdf import make_pdf
from app.render.slips import SHEET, print_slip
from app.store.records.jobs import JOB_PARTS, get_job, move_job
from app.store.records.pieces import get_owned_piece
from app.store.records.slips import (
    get_slip,
    get_slip_file,
    issue_slip,
    list_slip_files,
    next_slip_number,
)
from app.store.tables import Slip
from app.web.drawn import answer_picture
from app.web.files import folder_of
from app.web.jobs.slip_subjects import Subject
from app.web.jobs.slip_values import PreparedSlip, prepare_slip, say_missing
from app.web.pages import (
    Clock,
    Form,
    Reading,
    Typed,
    Writing,
    found_or_404,
    go_to,
    note_taken,
    show_page,
    taken_before,
)
from app.web.settings import LOOPBACK_HOSTS, Settings

router = APIRouter()
PDF = "paper.pdf"
MEDIA_TYPES = {"svg": "image/svg+xml", "pdf": "application/pdf", "jpg": "image/jpeg"}
NO_PAPER = "There is no paper of that number."


# what the papers made most often say of a job beside its readings
_NEEDED = {"return_card": ("passes",), "half_card": ("passes",)}


def _job_subject(session: Session, number: int, kind: str) -> Subject:
    job = found_or_404(
        get_job(session, number, _NEEDED.get(kind, JOB_PARTS)),
        "There is no job of that number in this book.",
    )
    return Subject(job.piece, job)


def _piece_subject(session: Session, piece_id: int) -> Subject:
    piece = found_or_404(get_owned_piece(session, piece_id), "There is no such piece in this book.")
    return Subject(piece, None)


def _kind(key: str, about: str) -> SlipKind:
    kind = SLIP_KINDS.get(key)
    return found_or_404(kind if kind and kind.about == about else None, "There is no such paper.")


@router.get("/jobs/{number}/papers/{kind}")
def new(request: Request, session: Reading, clock: Clock, number: int, kind: str) -> HTMLResponse:
    """Show how a job's paper would print now."""
    return _preview(
        request, session, _job_subject(session, number, kind), _kind(kind, "job"), clock
    )


@router.get("/pieces/{piece_id}/papers/{kind}")
def new_of_piece(
    request: Request, session: Reading, clock: Clock, piece_id: int, kind: str
) -> HTMLResponse:
    """Show how a piece's paper would print now."""
    return _preview(
        request, session, _piece_subject(session, piece_id), _kind(kind, "piece"), clock
    )


def _preview(
    request: Request, session: Session, subject: Subject, kind: SlipKind, clock: Clock
) -> HTMLResponse:
    slip = prepare_slip(session, kind, subject, clock, site=str(request.base_url))
    return show_page(
        request,
        "slips/new.html",
        subject=subject,
        kind=kind,
        page=slip.page,
        sheet=SHEET,
        missing=say_missing(subject.job, kind),
        only_here=kind.has_code and request.url.hostname in _OWN_NAMES,
        html=print_slip(
            folder_of("templates"), kind.key, slip.blocks, f"{subject.address}/papers/{kind.key}"
        ),
    )


_OWN_NAMES = {host.strip("[]") for host in LOOPBACK_HOSTS}


@router.get("/jobs/{number}/papers/{kind}/{name}")
def new_file(
    request: Request, session: Reading, clock: Clock, number: int, kind: str, name: str
) -> Response:
    """Draw a picture that a job's paper would carry now."""
    subject = _job_subject(session, number, kind)
    return _draw(request, session, subject, _kind(kind, "job"), clock, name)


@router.get("/pieces/{piece_id}/papers/{kind}/{name}")
def new_file_of_piece(
    request: Request, session: Reading, clock: Clock, piece_id: int, kind: str, name: str
) -> Response:
    """Draw a picture that a piece's paper would carry now."""
    subject = _piece_subject(session, piece_id)
    return _draw(request, session, subject, _kind(kind, "piece"), clock, name)


def _draw(
    request: Request, session: Session, subject: Subject, kind: SlipKind, clock: Clock, name: str
) -> Response:
    slip = prepare_slip(session, kind, subject, clock, site=str(request.base_url))
    drawing = found_or_404(slip.drawings.get(name), "That paper has no such picture.")
    return answer_picture(request, drawing.shown(), drawing.draw, _media_type(name))


@router.post("/jobs/{number}/papers/{kind}")
def create(
    request: Request, session: Writing, form: Typed, clock: Clock, number: int, kind: str
) -> Response:
    """Issue a job's paper: number it and keep it as printed."""
    return _issue(
        request, session, _job_subject(session, number, kind), _kind(kind, "job"), form, clock
    )


@router.post("/pieces/{piece_id}/papers/{kind}")
def create_of_piece(
    request: Request, session: Writing, form: Typed, clock: Clock, piece_id: int, kind: str
) -> Response:
    """Issue a piece's paper: number it and keep it as printed."""
    subject = _piece_subject(session, piece_id)
    return _issue(request, session, subject, _kind(kind, "piece"), form, clock)


def _issue(
    request: Request,
    session: Session,
    subject: Subject,
    kind: SlipKind,
    form: Form,
    clock: Clock,
) -> Response:
    if answer := taken_before(session, form):
        return answer
    slip = issue_paper(session, subject, kind, clock, str(request.base_url))
    location = f"/papers/{slip.number}?said=issued"
    note_taken(session, form, location, clock.now())
    session.commit()
    return go_to(location)


def issue_paper(
    session: Session, subject: Subject, kind: SlipKind, clock: Settings, site: str
) -> Slip:
    """Keep a paper as it prints now; a return card makes a play-tested job ready."""
    number = next_slip_number(session)
    prepared = prepare_slip(session, kind, subject, clock, site=site, slip_number=number)
    job = subject.job
    slip = issue_slip(
        session,
        subject.piece,
        job,
        kind.key,
        kind.label,
        paper=prepared.page.key,
        sheet=SHEET,
        printed=asdict(prepared.values),
        html=print_slip(folder_of("templates"), kind.key, prepared.blocks, f"/papers/{number}"),
        files=_files(prepared, number, clock),
        today=clock.today(),
        now=clock.now(),
    )
    if job and kind.key in CARD_KINDS and job.stage == "play_test":
        move_job(session, job, "ready", clock.today(), clock.now())
    return slip


def _files(prepared: PreparedSlip, number: int, clock: Clock) -> dict[str, bytes]:
    """Draw a paper's pictures and make its PDF from them."""
    files = {name: one.draw() for name, one in prepared.drawings.items()}
    common = prepared.values.common
    about = f"job {common.job_number}" if common.job_number else common.piece
    files[PDF] = make_pdf(
        prepared.blocks,
        prepared.page,
        files,
        title=f"{prepared.kind.label}, {about}, slip {number}",
        author=common.shop,
        made_at=clock.now(),
    )
    return files


@router.get("/papers/{slip_number}")
def show(request: Request, session: Reading, slip_number: int) -> HTMLResponse:
    """Show an issued paper as it was printed."""
    slip = found_or_404(get_slip(session, slip_number), NO_PAPER)
    return show_page(
        request,
        "slips/show.html",
        slip=slip,
        kind=SLIP_KINDS[slip.kind],
        page=PAGES[slip.paper],
        subject=Subject(slip.piece, slip.job),
        has_pdf=PDF in list_slip_files(session, slip_number),
        struck_on=_struck_on(slip),
    )


def _struck_on(slip: Slip) -> date | None:
    """Say when whoever asked to be forgotten was struck out of a paper."""
    told = slip.printed.get("struck_out_on")
    return date.fromisoformat(told) if told else None


@router.get("/papers/{slip_number}/{name}")
def show_file(request: Request, session: Reading, slip_number: int, name: str) -> Response:
    """Give a file an issued paper came with: a picture, or the PDF to download."""
    slip = found_or_404(get_slip(session, slip_number), NO_PAPER)
    content = found_or_404(
        get_slip_file(session, slip_number, name), "That paper has no such file."
    )
    answer = answer_picture(request, content, partial(bytes, content), _media_type(name))
    if name == PDF:
        answer.headers["Content-Disposition"] = f'attachment; filename="{_file_name(slip)}"'
    return answer


def _media_type(name: str) -> str:
    ending = name.rpartition(".")[2]
    if ending not in MEDIA_TYPES:
        raise HTTPException(404, "That paper has no such file.")
    return MEDIA_TYPES[ending]


def _file_name(slip: Slip) -> str:
    about = f"job-{slip.job.number}" if slip.job else f"piece-{slip.piece_id}"
    return f"{slip.kind.replace('_', '-')}-{about}-slip-{slip.number}.pdf"
