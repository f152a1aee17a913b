"""Old notebooks come in: a table is pasted or sent, looked at row by row, then kept whole."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.facing.measurements import RAIL_VIEWS, ROLES, are_turned, write_line
from app.core.facing.wording import read_facing_length
from app.core.shop.notebooks import (
    COLUMNS,
    MOST_ROWS,
    NotebookRow,
    parse_rows,
    read_table,
)
from app.core.values.forms import Refused, format_date, plural
from app.core.values.pieces import name_piece
from app.core.values.units import format_mm
from app.store.records.notebooks import Known, find_known, keep_rows
from app.store.records.shop import gauges_in_use, get_shop
from app.web.guard import BODY_LIMIT
from app.web.pages import Form, ReadOnly, SettingsDep, Writing, commit_once, refuse_twice, show_page

router = APIRouter(prefix="/notebook")
ALSO_OF = (
    "such a piece stands under {} as well, and this one is kept as another. If it is one piece, "
    "make the two one on its page."
)
TWINS = "Two pieces like this are in the book: write in “marks” what tells this one from its twin."


@dataclass(frozen=True, slots=True)
class ShownRow:
    """A row as the preview prints it: what would be kept, what is wrong, what is odd."""

    number: int
    who: str
    kept: tuple[str, ...]
    problems: tuple[str, ...]
    doubts: tuple[str, ...]


async def read_table_form(request: Request) -> Form:
    """Read the form; a file that is sent along is the table."""
    form = Form()
    request.state.typed = form
    async with request.form(max_files=1, max_fields=40) as data:
        for name, value in data.multi_items():
            if isinstance(value, str):
                form.add(name, value)
        for _, value in data.multi_items():
            if not isinstance(value, str) and value.size:
                form.add("table", _as_table(await value.read(BODY_LIMIT)))
    return form


def _as_table(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


TypedTable = Annotated[Form, Depends(read_table_form)]


@router.get("")
def new(request: Request, session: ReadOnly) -> HTMLResponse:
    """Show where a table is pasted, and its columns."""
    return _page(request, session, Form(), ())


def _page(
    request: Request, session: Session, form: Form, shown: tuple[ShownRow, ...]
) -> HTMLResponse:
    return show_page(
        request,
        "notebooks/new.html",
        form=form,
        columns=COLUMNS.values(),
        rail_views=RAIL_VIEWS.items(),
        rails_seen=get_shop(session).rails_seen,
        most_rows=MOST_ROWS,
        gauges=gauges_in_use(session),
        rows=shown,
        wrong=sum(bool(row.problems) for row in shown),
    )


@router.post("")
def create(request: Request, session: Writing, form: TypedTable, settings: SettingsDep) -> Response:
    """Look at a table row by row, or keep all of it; a wrong row keeps all of it out."""
    refuse_twice(session, form)
    table = read_table(form.get("table"))
    view = form.get("rails_seen", get_shop(session).rails_seen)
    if view not in RAIL_VIEWS:
        form.problems["rails_seen"] = "Say how the table looks at a rail."
    if isinstance(table, Refused):
        form.problems |= table.problems
    if isinstance(table, Refused) or form.problems:
        return _page(request, session, form, ())

    rows = parse_rows(
        table,
        lambda kind, line: gauges_in_use(session, instrument_kind=kind, line=line),
        settings.today(),
        turned=are_turned(view, get_shop(session).rails_seen),
    )
    known = find_known(session, rows)
    shown = tuple(_show(row, in_book) for row, in_book in zip(rows, known, strict=True))
    wrong = [row for row in shown if row.problems]
    if form.get("do") != "keep" or wrong:
        if wrong and form.get("do") == "keep":
            count = plural(len(wrong), "row")
            form.problems["table"] = f"Nothing was brought in: {count} can’t be kept as they are."
        return _page(request, session, form, shown)
    people, pieces, sets = keep_rows(session, rows, settings.today(), settings.now())
    location = f"/customers?said=brought-in-{people}-{pieces}-{sets}"
    return commit_once(session, form, location, settings.now())


def _show(row: NotebookRow, known: Known) -> ShownRow:
    who = row.cells.get("name", "")[:80]
    problems = (*row.problems, *((TWINS,) if known.twins else ()))
    kept: list[str] = []
    if row.customer and row.piece and not problems:
        piece = row.piece
        name = name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
        kept.append("customer in the book" if known.customer_id else "customer")
        kept.append(f"{name} (in the book)" if known.piece_id else name)
        kept.append(_say_set(row, known))
    doubts = (*row.doubts, *((ALSO_OF.format(known.also_of),) if known.also_of else ()))
    return ShownRow(row.number, who, tuple(words for words in kept if words), problems, doubts)


def _say_set(row: NotebookRow, known: Known) -> str:
    if row.readings is None or row.gauges is None:
        return "no readings"
    if known.has_readings:
        return "these readings are in the book already and are left out"
    facing = row.readings.facing
    length = read_facing_length(facing)
    line = write_line(facing, row.gauges)
    words = f"{ROLES[row.readings.role]} {format_date(row.readings.taken_on)}: {line}"
    if length is not None:
        words += f"; facing length {format_mm(length)} mm"
    if facing.tip_opening_mm is not None:
        words += f", tip {format_mm(facing.tip_opening_mm)} mm"
    return words
