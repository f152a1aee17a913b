"""A new book asks once how to begin; the made-up shop is always a book of its own beside it."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.store.records.shop import awaits_first_choice, begin_book
from app.web.gate import LOOPBACK
from app.web.pages import ReadOnly, Writing, go_to, show_page

router = APIRouter(prefix="/first-start")


@router.get("")
def show(request: Request, session: ReadOnly) -> HTMLResponse:
    """Show the choice; once the book was begun, the ways into it, or just the made-up shop."""
    return show_page(
        request,
        "first_start/show.html",
        is_new=awaits_first_choice(session),
        address=request.app.state.made_up_beside.address,
        is_near=_is_near(request),
    )


@router.post("/begin")
def begin(session: Writing) -> Response:
    """Begin this book as the shop's own, and lead to its first piece."""
    if awaits_first_choice(session):
        begin_book(session, "own")
        session.commit()
        return go_to("/first-start?said=begun")
    return go_to("/")


@router.post("/made-up")
def open_made_up(request: Request) -> Response:
    """Open the made-up shop beside this book, which is neither read nor written for it."""
    if not request.app.state.made_up and _is_near(request):
        request.app.state.made_up_beside.open()
    return go_to("/first-start")


def _is_near(request: Request) -> bool:
    """Say whether the browser is on this machine: only there the made-up shop answers."""
    return not request.app.state.is_gated or (request.client or ("",))[0] in LOOPBACK


@router.post("/made-up/close")
def close_made_up(request: Request) -> Response:
    """Close the made-up shop; its folder is deleted, and nothing else."""
    request.app.state.made_up_beside.close()
    return go_to("/first-start")
