"""Labels: many at once, from any place of a sheet on, or on a roll."""

from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.jobs.slips import LABEL_SHEETS, PAGES, SLIP_KINDS, LabelsPart, page_of
from app.core.values.forms import as_number
from app.render.codes import draw_code
from app.render.papers import Paper
from app.store.records.jobs import list_bench
from app.store.records.shop import get_shop
from app.web.jobs.batches import gather_batch
from app.web.jobs.sheets import make_sheet
from app.web.jobs.shown_papers import answer_paper, show_paper
from app.web.jobs.slip_jobs import make_label
from app.web.jobs.slip_subjects import Subject
from app.web.jobs.slip_values import address_on_papers
from app.web.pages import ReadOnly, SettingsDep, found_or_404, show_page

router = APIRouter(prefix="/labels")


def _subjects(session: Session, batch: str) -> list[Subject]:
    """List what labels may be wanted for: the open jobs, or a batch's pieces."""
    if batch_id := as_number(batch):
        lines = gather_batch(session, batch_id)["lines"]
        return [Subject(line.made.piece, None) for line in lines]
    jobs = [job for group in list_bench(session) for job in group.jobs]
    return [Subject(job.piece, job) for job in sorted(jobs, key=lambda job: job.number)]


def _labels_paper(request: Request, session: Session, settings: SettingsDep) -> Paper | None:
    """Set the labels that the address asks for; None if it names none."""
    asked = request.query_params
    wanted = set(asked.getlist("of"))
    shop = get_shop(session)
    site = str(request.base_url)
    labels = tuple(
        make_label(subject, address_on_papers(shop, site, subject.address))
        for subject in _subjects(session, asked.get("batch", ""))
        if subject.address in wanted
    )
    if not labels:
        return None
    sheet = LABEL_SHEETS[shop.paper]
    start = asked.get("start", "1")
    places = sheet.columns * sheet.rows
    first = min(int(start), places) if start.isdecimal() and len(start) < 4 else 1
    on_sheet = replace(sheet, start=max(first, 1)) if asked.get("on") != "roll" else None
    pictures = {label.code: draw_code(label.address).decode() for label in labels}
    page = shop.paper if on_sheet else page_of(SLIP_KINDS["tray_label"], shop.paper).key
    part = LabelsPart(labels, on_sheet)
    return make_sheet(session, settings, "tray_label", "Labels", part, pictures, page=page)


@router.get("")
def index(
    request: Request,
    session: ReadOnly,
    settings: SettingsDep,
    batch: str = "",
    on: str = "",
    start: str = "1",
) -> HTMLResponse:
    """Choose labels to print: of which jobs or pieces, and from which place on the sheet."""
    shop = get_shop(session)
    paper = _labels_paper(request, session, settings)
    values: dict[str, Any] = {
        "subjects": _subjects(session, batch),
        "chosen": request.query_params.getlist("of"),
        "sheet": LABEL_SHEETS[shop.paper],
        "batch": batch,
        "on": on,
        "start": start,
        "choose": f"?{request.url.query}",
        "page": PAGES["label" if on == "roll" else shop.paper],
    }
    if paper is None:
        return show_page(request, "labels/index.html", pages=(), **values)
    return show_paper(request, "labels/index.html", paper, "/labels", **values)


@router.get("/{name}")
def show_file(request: Request, session: ReadOnly, settings: SettingsDep, name: str) -> Response:
    """Send a page of labels, or their PDF."""
    paper = found_or_404(_labels_paper(request, session, settings), "No labels were chosen.")
    return answer_paper(request, paper, name, "labels.pdf")
