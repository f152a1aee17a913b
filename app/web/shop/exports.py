"""Out of the book by a press: the whole of it as one zip, or one piece's readings as a table.

The zip is made in a thread of its own; its page says how far it is, and can break it off. Taking an
export in is a verb of the command line.
"""

from collections.abc import Iterator
from contextlib import suppress
from threading import Event, Lock, Thread

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, HTMLResponse, Response
from sqlalchemy.exc import SQLAlchemyError

from app.core.facing.measurements import ROLES
from app.core.values.cells import write_cell, write_lines
from app.core.values.units import SCALES
from app.store.book.describing import CODES
from app.store.book.exporting import count_steps, export_book
from app.store.book.opening import EXPORTING_NAME
from app.store.book.sessions import Sessions
from app.store.files import PHOTOS_NAME
from app.store.problems import BookProblem
from app.store.records.measurements import Measurement, list_measurements
from app.web.pages import ReadOnly, found_or_404, go_to, piece_or_404, show_page
from app.web.settings import VERSION, Settings

router = APIRouter()
PROGRAM = f"Laybook {VERSION}"
PAGE = "/settings/export"
_UNFORESEEN = "No export was made: the book could not be read to its end. Try again."


class Exporting:
    """The book's export, one at a time: how far it is, how it ended, and its file."""

    def __init__(self, sessions: Sessions, settings: Settings) -> None:
        self._sessions, self._settings = sessions, settings
        # There is room beside the book, and nobody else may read; the next start clears it away.
        self.target = settings.book / EXPORTING_NAME
        self.name = self.problem = ""
        self.done = self.all = 0
        self._lock, self._stop = Lock(), Event()
        self._thread: Thread | None = None

    @property
    def is_running(self) -> bool:
        """Whether one is being made."""
        return self._thread is not None and self._thread.is_alive()

    def start(self) -> None:
        """Begin one, unless one is being made."""
        with self._lock:
            if not self.is_running:
                self.name = self.problem = ""
                self.done = self.all = 0
                self._stop.clear()
                self._thread = Thread(target=self._make, name="export", daemon=True)
                self._thread.start()

    def stop(self) -> None:
        """Break off what is being made, and wait until it has gone."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()

    def _step(self) -> None:
        self.done += 1
        if self._stop.is_set():
            raise BookProblem("The export was broken off; nothing of it was kept.")

    def _make(self) -> None:
        photos, now = self._settings.book / PHOTOS_NAME, self._settings.now()
        try:
            self.target.unlink(missing_ok=True)
            with self._sessions.read() as session:
                connection = session.connection()
                self.all = count_steps(connection, photos)
                export_book(
                    connection, photos, self.target, program=PROGRAM, now=now, step=self._step
                )
            self.name = name_export(self._settings)
        except BookProblem as problem:
            self.problem = str(problem)
        except (SQLAlchemyError, OSError):
            self.problem = _UNFORESEEN


def name_export(settings: Settings) -> str:
    """Name an export by its day."""
    return f"laybook-{settings.today().isoformat()}.zip"


def _exporting(request: Request) -> Exporting:
    return request.app.state.exporting  # type: ignore[no-any-return]


@router.post(PAGE)
def create(request: Request) -> Response:
    """Begin to write the whole book to one zip."""
    _exporting(request).start()
    return go_to(PAGE)


@router.get(PAGE)
def show(request: Request) -> HTMLResponse:
    """Say how far the export is, what became of it, or give its file to save."""
    made = _exporting(request)
    size = 0
    with suppress(OSError):
        size = made.target.stat().st_size if made.name else 0
    return show_page(request, "backups/export.html", made=made, size=size)


@router.post(PAGE + "/stop")
def stop(request: Request) -> Response:
    """Break the export off."""
    _exporting(request).stop()
    return go_to(PAGE)


@router.get(PAGE + "/{name}")
def save(request: Request, name: str) -> Response:
    """Send the finished export to download."""
    made = _exporting(request)
    is_here = name == made.name and made.target.is_file()
    found_or_404(made if is_here else None, "There is no such export any more. Make it anew.")
    return FileResponse(made.target, media_type="application/zip", filename=name)


@router.get("/pieces/{piece_id}/readings.csv")
def readings_table(session: ReadOnly, piece_id: int) -> Response:
    """Send every reading of a piece as a table for a spreadsheet, as typed and in mm."""
    piece_or_404(session, piece_id)
    rows = (
        row
        for measurement in list_measurements(session, piece_id)
        for row in _list_readings(measurement)
    )
    return Response(
        b"".join(write_lines([list(_COLUMNS), *rows])),
        media_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="piece-{piece_id}-readings.csv"',
        },
    )


_COLUMNS = (
    "set", "taken on", "taken", "job", "replaced by set", "what", "rail", "blade or gap mm",
    "depth mm", "name", "as typed", "scale", "value mm", "note",
)  # fmt: skip
_NUMBERS = {"set", "job", "replaced by set", "blade or gap mm", "depth mm", "value mm"}


def _list_readings(kept: Measurement) -> Iterator[list[str]]:
    for reading in kept.readings:
        scale = SCALES.get(reading.scale)
        values = (
            kept.id, kept.taken_on.isoformat(), ROLES[kept.role], kept.job_number,
            kept.replaced_by_id, CODES["reading.quantity"].get(reading.quantity, reading.quantity),
            reading.rail, reading.gap_mm, reading.depth_mm, reading.name,
            reading.typed, scale.label if scale else reading.scale, reading.value_mm, kept.note,
        )  # fmt: skip
        yield [
            write_cell(
                None if value is None else str(value), may_be_none=False, is_number=name in _NUMBERS
            )
            for name, value in zip(_COLUMNS, values, strict=True)
        ]
