"""The whole book as one file to download; taking one in is a verb of the command line."""

import shutil
import tempfile
from datetime import timedelta
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, Response
from starlette.background import BackgroundTask

from app.store.backup import PHOTOS_NAME
from app.store.exporting import export_book
from app.store.locks import BookProblem
from app.web.pages import Clock, Reading, show_page
from app.web.settings import VERSION, Settings

router = APIRouter(prefix="/settings/export")
PROGRAM = f"Laybook {VERSION}"
_MAKING = ".exporting-"
_LEFT_AFTER = timedelta(days=1)


def name_export(settings: Settings) -> str:
    """Name an export by its day."""
    return f"laybook-{settings.today().isoformat()}.zip"


@router.post("")
def create(request: Request, session: Reading, clock: Clock) -> Response:
    """Write the whole book to one zip and give it to download."""
    folder = _make_folder(clock)
    target = folder / name_export(clock)
    try:
        export_book(
            session.connection(),
            clock.book / PHOTOS_NAME,
            target,
            program=PROGRAM,
            now=clock.now(),
        )
    except BookProblem as problem:
        shutil.rmtree(folder, ignore_errors=True)
        return show_page(
            request, "problem.html", status=507, heading="No export was made", words=str(problem)
        )
    return FileResponse(
        target,
        media_type="application/zip",
        filename=target.name,
        background=BackgroundTask(shutil.rmtree, folder, ignore_errors=True),
    )


def _make_folder(clock: Settings) -> Path:
    """Make a folder for one export, beside the book: there is room, and nobody else may read."""
    for left in clock.book.glob(f"{_MAKING}*"):
        if left.stat().st_mtime < (clock.now() - _LEFT_AFTER).timestamp():
            shutil.rmtree(left, ignore_errors=True)
    return Path(tempfile.mkdtemp(prefix=_MAKING, dir=clock.book))
