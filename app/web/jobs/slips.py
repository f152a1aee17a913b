"""Papers: a preview, then issued once and kept as printed; tags and sheets are only printed."""

from dataclasses import asdict
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.jobs.slips import CARD_KINDS, OF_ORDERS, PAGES, SLIP_KINDS, SlipKind
from app.core.jobs.stages import CARD
from app.render.papers import draw_pages, make_pdf, write_words
from app.store.records.jobs import move_on
from app.store.records.pieces import get_owned_piece
from app.store.records.slips import (
    get_slip,
    get_slip_file,
    issue_slip,
    list_slip_files,
    next_slip_number,
)
from app.store.tables import Job, Slip
from app.web.jobs.shown_papers import PDF, answer_file, answer_paper, show_paper
from app.web.jobs.slip_subjects import Subject
from app.web.jobs.slip_values import prepare_slip, say_missing
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    commit_once,
    found_or_404,
    job_or_404,
    refuse_twice,
    show_page,
)
from app.web.settings import LOOPBACK_HOSTS, Settings

router = APIRouter()
NO_PAPER = "There is no paper of that number."
# A kept page may have come with an import: nothing in it runs, sends or reaches anywhere.
KEPT_POLICY = (
    "sandbox allow-same-origin; default-src 'none'; style-src 'self'; img-src 'self'; "
    "frame-ancestors 'self'; base-uri 'none'; form-action 'none'"
)

_OWN_NAMES = {host.strip("[]") for host in LOOPBACK_HOSTS}


def _job_subject(session: Session, number: int, kind: str) -> Subject:
    job = job_or_404(session, number)
    if job.order_id and kind in OF_ORDERS:  # one paper for the order, under its first number
        first = session.get_one(Job, job.order_id).number
        return _job_subject(session, first, kind)
    return Subject(job.piece, job)


def _piece_subject(session: Session, piece_id: int) -> Subject:
    piece = found_or_404(get_owned_piece(session, piece_id), "There is no such piece in this book.")
    return Subject(piece, None)


def _kind(key: str, about: str) -> SlipKind:
    kind = SLIP_KINDS.get(key)
    return found_or_404(kind if kind and about in kind.about else None, "There is no such paper.")


@router.get("/jobs/{number}/papers/{kind}")
def new(
    request: Request, session: ReadOnly, settings: SettingsDep, number: int, kind: str
) -> HTMLResponse:
    """Show how a job's paper would print now."""
    return _preview(
        request, session, _job_subject(session, number, kind), _kind(kind, "job"), settings
    )


@router.get("/pieces/{piece_id}/papers/{kind}")
def new_of_piece(
    request: Request, session: ReadOnly, settings: SettingsDep, piece_id: int, kind: str
) -> HTMLResponse:
    """Show how a piece's paper would print now."""
    return _preview(
        request, session, _piece_subject(session, piece_id), _kind(kind, "piece"), settings
    )


def _preview(
    request: Request, session: Session, subject: Subject, kind: SlipKind, settings: SettingsDep
) -> HTMLResponse:
    slip = prepare_slip(session, kind, subject, settings, site=str(request.base_url))
    at_home = str(request.base_url) in slip.paper.values and request.url.hostname in _OWN_NAMES
    return show_paper(
        request,
        "slips/new.html",
        slip.paper,
        f"{subject.address}/papers/{kind.key}",
        subject=subject,
        kind=kind,
        page=slip.page,
        missing=say_missing(subject.job, kind),
        only_here=kind.has_code and at_home,
    )


@router.get("/jobs/{number}/papers/{kind}/{name}")
def new_file(
    request: Request, session: ReadOnly, settings: SettingsDep, number: int, kind: str, name: str
) -> Response:
    """Send a page of a job's paper as it would print now, or its PDF."""
    subject = _job_subject(session, number, kind)
    return _answer(request, session, subject, _kind(kind, "job"), settings, name)


@router.get("/pieces/{piece_id}/papers/{kind}/{name}")
def new_file_of_piece(
    request: Request, session: ReadOnly, settings: SettingsDep, piece_id: int, kind: str, name: str
) -> Response:
    """Send a page of a piece's paper as it would print now, or its PDF."""
    subject = _piece_subject(session, piece_id)
    return _answer(request, session, subject, _kind(kind, "piece"), settings, name)


def _answer(
    request: Request,
    session: Session,
    subject: Subject,
    kind: SlipKind,
    settings: SettingsDep,
    name: str,
) -> Response:
    slip = prepare_slip(session, kind, subject, settings, site=str(request.base_url))
    return answer_paper(request, slip.paper, name, f"{_name_file(kind.key, subject)}.pdf")


@router.post("/jobs/{number}/papers/{kind}")
def create(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, number: int, kind: str
) -> Response:
    """Issue a job's paper: number it and keep it as printed."""
    return _issue(
        request, session, _job_subject(session, number, kind), _kind(kind, "job"), form, settings
    )


@router.post("/pieces/{piece_id}/papers/{kind}")
def create_of_piece(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, piece_id: int, kind: str
) -> Response:
    """Issue a piece's paper: number it and keep it as printed."""
    subject = _piece_subject(session, piece_id)
    return _issue(request, session, subject, _kind(kind, "piece"), form, settings)


def _issue(
    request: Request,
    session: Session,
    subject: Subject,
    kind: SlipKind,
    form: Form,
    settings: SettingsDep,
) -> Response:
    refuse_twice(session, form)
    found_or_404(kind if kind.numbered else None, "This paper is printed, not issued.")
    slip = issue_paper(session, subject, kind, settings, str(request.base_url))
    return commit_once(session, form, f"/papers/{slip.number}?said=issued", settings.now())


def issue_paper(
    session: Session, subject: Subject, kind: SlipKind, settings: Settings, site: str
) -> Slip:
    """Keep a paper as it prints now; a return card makes a play-tested job ready."""
    number = next_slip_number(session)
    prepared = prepare_slip(session, kind, subject, settings, site=site, slip_number=number)
    paper, job = prepared.paper, subject.job
    pages = {f"page-{at}.svgz": page for at, page in enumerate(draw_pages(paper), start=1)}
    slip = issue_slip(
        session,
        subject.piece,
        job,
        kind.key,
        kind.label,
        paper=prepared.page.key,
        printed=asdict(prepared.values),
        html=write_words(paper),
        files={**pages, PDF: make_pdf(paper)},
        today=settings.today(),
        now=settings.now(),
    )
    if job and kind.key in CARD_KINDS:
        move_on(session, job, CARD, settings.today(), settings.now())
    return slip


@router.get("/papers/{slip_number}")
def show(request: Request, session: ReadOnly, slip_number: int) -> HTMLResponse:
    """Show an issued paper as it was printed."""
    slip = found_or_404(get_slip(session, slip_number), NO_PAPER)
    files = list_slip_files(session, slip_number)
    return show_page(
        request,
        "slips/show.html",
        slip=slip,
        kind=SLIP_KINDS[slip.kind],
        page=PAGES[slip.paper],
        subject=Subject(slip.piece, slip.job),
        pages=sorted((name for name in files if name.endswith(".svgz")), key=_page_number),
        has_pdf=PDF in files,
        struck_on=_struck_on(slip),
    )


def _page_number(name: str) -> int:
    return int(name.removeprefix("page-").removesuffix(".svgz"))


def _struck_on(slip: Slip) -> date | None:
    """Say when whoever asked to be forgotten was struck out of a paper."""
    day = slip.printed.get("struck_out_on")
    return date.fromisoformat(day) if day else None


@router.get("/papers/{slip_number}/kept")
def show_kept(request: Request, session: ReadOnly, slip_number: int) -> HTMLResponse:
    """Show an issued paper's kept HTML: all of it before papers had pages, else its words."""
    slip = found_or_404(get_slip(session, slip_number), NO_PAPER)
    page = show_page(request, "slips/kept.html", slip=slip, kind=SLIP_KINDS[slip.kind])
    page.headers["Content-Security-Policy"] = KEPT_POLICY
    return page


@router.get("/papers/{slip_number}/{name}")
def show_file(request: Request, session: ReadOnly, slip_number: int, name: str) -> Response:
    """Send a file an issued paper came with: a page, or the PDF to print or to send."""
    slip = found_or_404(get_slip(session, slip_number), NO_PAPER)
    content = found_or_404(
        get_slip_file(session, slip_number, name), "That paper has no such file."
    )
    subject = Subject(slip.piece, slip.job)
    file_name = f"{_name_file(slip.kind, subject)}-slip-{slip.number}.pdf"
    return answer_file(request, name, (slip_number, content), lambda: content, file_name)


def _name_file(kind: str, subject: Subject) -> str:
    about = f"job-{subject.job.number}" if subject.job else f"piece-{subject.piece.id}"
    return f"{kind.replace('_', '-')}-{about}"
