"""Out of the book by a press: the whole of it as one zip, or one piece's readings as a table.

Taking an export in is a verb of the command line.
"""

from collections.abc import Iterator
from contextlib import suppress
from typing import BinaryIO

from fastapi import APIRouter, Request
from fastapi.responses import Response, StreamingResponse

from app.core.facing.measurements import ROLES
from app.core.values.cells import write_cell, write_lines
from app.core.values.units import SCALES
from app.store.book.describing import CODES
from app.store.book.exporting import export_book
from app.store.book.locks import BookProblem
from app.store.book.opening import EXPORTING_NAME
from app.store.files import PHOTOS_NAME
from app.store.records.measurements import Measurement, list_measurements
from app.store.records.pieces import get_piece
from app.web.jobs.pieces import NOT_HERE
from app.web.pages import Clock, Reading, found_or_404, show_page
from app.web.settings import VERSION, Settings

router = APIRouter()
PROGRAM = f"Laybook {VERSION}"


def name_export(settings: Settings) -> str:
    """Name an export by its day."""
    return f"laybook-{settings.today().isoformat()}.zip"


@router.post("/settings/export")
def create(request: Request, session: Reading, clock: Clock) -> Response:
    """Write the whole book to one zip and give it to download."""
    # Beside the book there is room, and nobody else may read; the next start clears what is left.
    target = clock.book / EXPORTING_NAME
    with request.app.state.exporting:  # one at a time
        try:
            target.unlink(missing_ok=True)
            export_book(
                session.connection(),
                clock.book / PHOTOS_NAME,
                target,
                program=PROGRAM,
                now=clock.now(),
            )
        except BookProblem as problem:
            words = str(problem)
            heading = "No export was made"
            return show_page(request, "problem.html", status=507, heading=heading, words=words)
        size, file = target.stat().st_size, target.open("rb")
        with suppress(OSError):  # it is read to its end without a name, where the system can
            target.unlink()
    headers = {
        "Content-Disposition": f'attachment; filename="{name_export(clock)}"',
        "Content-Length": str(size),
    }
    return StreamingResponse(_chunks_of(file), media_type="application/zip", headers=headers)


def _chunks_of(file: BinaryIO) -> Iterator[bytes]:
    with file:
        while chunk := file.read(1 << 20):
            yield chunk


@router.get("/pieces/{piece_id}/readings.csv")
def readings_table(session: Reading, piece_id: int) -> Response:
    """Give every reading of a piece as a table for a spreadsheet, as typed and in mm."""
    found_or_404(get_piece(session, piece_id), NOT_HERE)
    rows = (row for one in list_measurements(session, piece_id) for row in _list_readings(one))
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


def _list_readings(one: Measurement) -> Iterator[list[str]]:
    for reading in one.readings:
        scale = SCALES.get(reading.scale)
        values = (
            one.id, one.taken_on.isoformat(), ROLES[one.role], one.job_number, one.replaced_by_id,
            CODES["reading.quantity"].get(reading.quantity, reading.quantity), reading.rail,
            reading.gap_mm, reading.depth_mm, reading.name,
            reading.typed, scale.label if scale else reading.scale, reading.value_mm, one.note,
        )  # fmt: skip
        yield [
            write_cell(
                None if value is None else str(value), may_be_none=False, is_number=name in _NUMBERS
            )
            for name, value in zip(_COLUMNS, values, strict=True)
        ]
