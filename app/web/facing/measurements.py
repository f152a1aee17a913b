"""Readings: the grid, the one line, what they mean, and corrections that lose nothing."""

import re
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from sqlalchemy.orm import Session
from starlette.background import BackgroundTask

from app.core.compare.comparison_words import say_tables
from app.core.compare.length_words import list_lengths
from app.core.compare.size_words import (
    HISTORY_RULE,
    list_gauge_lines,
    list_three_ways,
    list_uncertainties,
)
from app.core.facing.analysis import analyse_facing
from app.core.facing.corrections import correct_readings
from app.core.facing.dials import say_dials
from app.core.facing.measurements import (
    RAILS,
    ROLES,
    GaugesInUse,
    ParsedSet,
    SetEntry,
    cell_name,
    parse_set,
    write_line,
)
from app.core.facing.suspects import ask_suspects
from app.core.facing.wording import (
    describe_facing,
    list_blade_rows,
    list_curve_rows,
)
from app.core.gauges.hand_gauges import gauge_cells
from app.core.shop.drafts import pick_draft
from app.core.values.forms import as_number
from app.core.values.lengths import is_length, length_cells
from app.core.values.readings import FacingReadings
from app.store.records.batches import find_batch_of, list_made_pieces
from app.store.records.drafts import drop_draft, keep_draft
from app.store.records.facings import get_facing
from app.store.records.gauges import list_hand_gauges, sizes_in_use
from app.store.records.jobs import add_event, get_job, move_on
from app.store.records.measurements import (
    Measurement,
    add_reading_set,
    get_measurement,
    list_measurements,
    piece_of_set,
    standing,
)
from app.store.records.shop import gauges_in_use, get_shop, list_blade_sets
from app.store.tables import Batch, Job, Piece
from app.web.facing.drafts import save_draft, take_up_draft
from app.web.facing.lengths import length_fields, list_dial_rows, list_length_rows, say_bore
from app.web.facing.pictures import preview_address
from app.web.facing.summaries import list_figures, summarise
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    TypedWithColumns,
    Writing,
    commit_once,
    found_or_404,
    job_or_404,
    piece_or_404,
    refuse_twice,
    show_page,
    templates,
)
from app.web.plan.at_bench import gather_table, tell_togo
from app.web.plan.planning import find_showing, last_read

router = APIRouter()
NOT_HERE = "There are no such readings in this book."
ID = re.compile("[0-9]{1,9}")
BLADE_CELL = re.compile(r"b([0-9]{1,9})_(?:left|right)")


@dataclass(frozen=True, slots=True)
class Bench:
    """Whose readings a page takes: a job's, or a piece's outside any job.

    `batch_id` is the batch whose pieces are read one after the other.
    """

    piece: Piece
    job: Job | None
    action: str
    back: str
    replaces: Measurement | None = None
    batch_id: int | None = None
    facing_id: int | None = None


def find_bench(session: Session, request: Request) -> Bench:
    """Find whose readings an address takes: a job's, a piece's, or a set's to correct."""
    place = {name: int(text) for name, text in request.path_params.items() if ID.fullmatch(text)}
    if "number" in place:
        return job_bench(job_or_404(session, place["number"]))
    if "piece_id" in place:
        return piece_bench(session, piece_or_404(session, place["piece_id"]))
    kept = found_or_404(get_measurement(session, place.get("set_id", 0)), NOT_HERE)
    piece = piece_or_404(session, kept.piece_id)
    job = get_job(session, kept.job_number) if kept.job_number else None
    return Bench(piece, job, f"/readings/{kept.id}/correct", f"/readings/{kept.id}", kept)


def job_bench(job: Job) -> Bench:
    """Where a loaded job's readings are taken."""
    address = f"/jobs/{job.number}"
    return Bench(job.piece, job, f"{address}/readings", address, facing_id=job.facing_id)


def piece_bench(session: Session, piece: Piece) -> Bench:
    """Where a piece's readings outside any job are taken; one of a batch has its target."""
    address = f"/pieces/{piece.id}"
    bench = Bench(piece, None, f"{address}/readings", address)
    made = find_batch_of(session, piece.id)
    if made is None:
        return bench
    facing_id = session.get_one(Batch, made.id).facing_id
    unread = not list_measurements(session, piece.id)
    return replace(bench, facing_id=facing_id, batch_id=made.id if unread else None)


def next_in_batch(session: Session, batch_id: int) -> str:
    """The page of a batch's next piece to be read, or the batch's where all were."""
    pieces = list_made_pieces(session, batch_id)
    unread = (made.piece.id for made in pieces if made.last is None and made.left_at is None)
    waits = next(unread, None)
    if waits is None:
        return f"/batches/{batch_id}?said=read"
    return f"/pieces/{waits}/readings?said=kept"


@router.get("/jobs/{number}/readings")
@router.get("/pieces/{piece_id}/readings")
def new(
    request: Request, session: ReadOnly, settings: SettingsDep, role: str = "", draft: str = ""
) -> HTMLResponse:
    """Show an empty grid for a job or a piece outside any job, or its draft."""
    bench = find_bench(session, request)
    usual = "as_received" if bench.job else "reference"
    form = Form(values={"role": role if role in ROLES else usual, "draft": draft})
    return _grid(request, session, bench, form, settings)


@router.get("/readings/{set_id}/correct")
def correct(
    request: Request, session: ReadOnly, settings: SettingsDep, draft: str = ""
) -> HTMLResponse:
    """Show the grid filled with a set's readings, to correct them."""
    bench = find_bench(session, request)
    form = Form()
    if bench.replaces:
        form.values = {
            "role": bench.replaces.role,
            "taken_on": bench.replaces.taken_on.isoformat(),
            "note": bench.replaces.note,
            "blade_set": str(bench.replaces.blade_set_id or ""),
            **_cells(bench.replaces, find_gauges(session, form, bench)),
            "draft": draft,
        }
    return _grid(request, session, bench, form, settings)


def _cells(measurement: Measurement, gauges: GaugesInUse) -> dict[str, str]:
    cells = length_cells(measurement.readings, gauges.bore) | gauge_cells(measurement.readings)
    for entry in measurement.readings:
        if is_length(entry):
            continue
        name = f"b{entry.gauge_id}_{entry.rail}" if entry.quantity == "blade" else entry.quantity
        cells[name] = entry.typed
    return cells


@router.post("/jobs/{number}/readings")
@router.post("/pieces/{piece_id}/readings")
@router.post("/readings/{set_id}/correct")
def create(
    request: Request, session: Writing, form: TypedWithColumns, settings: SettingsDep
) -> Response:
    """Keep readings; a correction is a new set that names the one it replaces and why."""
    bench = find_bench(session, request)
    return take_readings(session, bench, form, settings) or _grid(
        request, session, bench, form, settings
    )


def take_readings(
    session: Session, bench: Bench, form: Form, settings: SettingsDep
) -> Response | None:
    """Keep posted readings and go on; None if the page is to come back with `form` as it is now."""
    refuse_twice(session, form)
    if bench.replaces:
        _check_correction(form, bench.replaces)
    gauges = find_gauges(session, form, bench)
    if form.get("do") == "blades":
        return None

    def ask_more(entry: SetEntry) -> dict[str, str]:
        return ask_suspects(entry, sizes_in_use(session, gauges, entry.taken_on))

    kind = bench.piece.instrument_kind
    parsed = parse_set(form.values, gauges, kind, settings.today(), ask_more)
    form.problems = {**parsed.problems, **form.problems}
    if not form.problems and parsed.asks:
        form.questions, form.again = dict(parsed.questions), parsed.again
        form.values["asked"] = parsed.token
    if form.problems or form.questions or form.get("do") == "check":
        keep_draft(session, bench.action, pick_draft(form.values), settings.now())
        session.commit()
        return None
    why = form.get("why").strip()[:500]
    location = keep_set(session, bench, parsed.entry, gauges, settings.now(), why)
    if bench.batch_id:
        location = next_in_batch(session, bench.batch_id)
    drop_draft(session, bench.action)
    return commit_once(session, form, location, settings.now())


def _check_correction(form: Form, replaces: Measurement) -> None:
    if replaces.replaced_by_id:
        form.problems["why"] = "These readings were corrected already; correct the newer ones."
    elif not form.get("why").strip():
        form.problems["why"] = "Say why it is corrected; both stay in the book."


def keep_set(
    session: Session,
    bench: Bench,
    entry: SetEntry,
    gauges: GaugesInUse,
    now: datetime,
    why: str = "",
) -> str:
    """Keep a reading set, note it in the job's history and move the job on; gives the page."""
    job = bench.job
    kept = add_reading_set(
        session,
        entry,
        bench.piece.id,
        job.id if job else None,
        gauges,
        now,
        replaces_id=bench.replaces.id if bench.replaces else None,
        replaces_why=why if bench.replaces else "",
    )
    if job is None:
        return f"/readings/{kept.id}"
    line = write_line(entry.facing, gauges)
    words = f"Readings {ROLES[entry.role]}: {line or 'other lengths'}"
    if bench.replaces:
        words = f"Correction. {words} ({kept.replaces_why})"
    add_event(session, job, "readings", entry.taken_on, now, words)
    move_on(session, job, entry.role, entry.taken_on, now)
    return f"/jobs/{job.number}?said=readings"


def find_gauges(session: Session, form: Form, bench: Bench) -> GaugesInUse:
    """The gauges to read with: the set chosen, else the one of the piece's family.

    Blades outside the set are shown too where something is typed for them, or was read by the
    set that is corrected: changing the set loses nothing.
    """
    chosen = form.get("blade_set")
    kept = bench.replaces.readings if bench.replaces else ()
    read = {entry.gauge_id for entry in kept if entry.quantity == "blade" and entry.gauge_id}
    typed = {
        int(cell.group(1))
        for name, text in form.values.items()
        if text.strip() and (cell := BLADE_CELL.fullmatch(name))
    }
    gauges = gauges_in_use(
        session,
        as_number(chosen),
        instrument_kind=bench.piece.instrument_kind,
        and_blades=read | typed,
        as_read=bench.replaces.sizes if bench.replaces else None,
        line=form.get("line"),
    )
    return replace(gauges, hands=list_hand_gauges(session))


def _grid(
    request: Request, session: Session, bench: Bench, form: Form, settings: SettingsDep
) -> HTMLResponse:
    draft = (
        take_up_draft(session, bench.action, form, settings) if request.method == "GET" else None
    )
    values = grid_values(session, bench, form, settings)
    cells, gauges = values["cells"], values["gauges"]
    return show_page(
        request,
        "measurements/new.html",
        form=form,
        draft=draft,
        blade_sets=list_blade_sets(session),
        lengths=length_fields(cells, {**form.problems, **form.questions}, gauges),
        shop=get_shop(session),
        default_day=settings.today().isoformat(),
        **values,
    )


def grid_values(
    session: Session, bench: Bench, form: Form, settings: SettingsDep
) -> dict[str, Any]:
    """What the table of readings prints, on the job's page and on its own."""
    gauges = find_gauges(session, form, bench)
    parsed = parse_set(form.values, gauges, bench.piece.instrument_kind, settings.today())
    # the line is spread over the cells once it was sent; a draft and a link stay as they are
    posted = form.problems or form.questions or form.get("do")
    of_piece = list_measurements(session, bench.piece.id)
    return {
        "bench": bench,
        "gauges": gauges,
        "table": gather_table(
            bench.job,
            get_facing(session, bench.facing_id),
            of_piece,
            find_showing(session, gauges),
        ),
        "cells": parsed.cells if posted else form.values,
        "meanings": parsed.meanings,
        "preview": _preview(session, bench, parsed, gauges),
    }


def _preview(
    session: Session, bench: Bench, parsed: ParsedSet, gauges: GaugesInUse
) -> dict[str, Any] | None:
    """Say what readings come to before they are kept; what a job's piece was like before that."""
    entry, facing = parsed.entry, parsed.entry.facing
    cells = {"tip", *(cell_name(blade, rail) for blade in gauges.blades for rail in RAILS)}
    if not entry.readings or cells & set(parsed.problems):
        if bench.facing_id is None and (bench.job is None or last_read(bench.job) is None):
            return None
        address = preview_address(FacingReadings(), gauges, bench.job, bench.facing_id)
        return {"picture": address, "line": "", "words": [], "togo": {}}
    corrected = correct_readings(entry.readings, sizes_in_use(session, gauges, entry.taken_on))
    now = replace(corrected.facing, read_once=entry.read_once)
    tolerance = get_shop(session).evenness_tolerance_mm
    analysis = analyse_facing(now, corrected.uncertainties, evenness_tolerance_mm=tolerance)
    aim = get_facing(session, bench.facing_id)
    togo = tell_togo(aim, bench.job, now, corrected.uncertainties, gauges)
    return {
        "line": write_line(facing, gauges),
        "togo": {name: asdict(to_go) for name, to_go in togo.items()},
        "words": [
            *describe_facing(analysis, gauges.glass),
            *say_dials(now, analysis.left, analysis.right),
            *say_bore(list_lengths(entry.readings, corrected.in_force)),
        ],
        "picture": preview_address(now, gauges, bench.job, bench.facing_id)
        if facing.has_rails
        else "",
    }


@router.post("/readings/preview")
def preview(
    request: Request,
    session: ReadOnly,
    form: TypedWithColumns,
    settings: SettingsDep,
    piece: int,
    job: int | None = None,
) -> JSONResponse:
    """Say what a half-typed grid means and comes to, and keep it as a draft."""
    kept_piece = piece_or_404(session, piece)
    bench = job_bench(job_or_404(session, job)) if job else piece_bench(session, kept_piece)
    gauges = find_gauges(session, form, bench)
    parsed = parse_set(form.values, gauges, bench.piece.instrument_kind, settings.today())
    shown = _preview(session, bench, parsed, gauges)
    part = templates().get_template("measurements/preview.html").render(preview=shown, bench=bench)
    return JSONResponse(
        {
            "meanings": parsed.meanings,
            "togo": shown["togo"] if shown else {},
            # a line that is still being typed is not scolded
            "asks": {
                **{name: words for name, words in parsed.problems.items() if name != "line"},
                **parsed.questions,
            },
            # a line that was spread fills the cells; what is typed there later holds
            "cells": parsed.cells if parsed.cells.get("spread") != form.get("spread") else {},
            "preview": part,
        },
        background=BackgroundTask(save_draft, request, form, settings),
    )


@router.get("/readings/{set_id}")
def show(request: Request, session: ReadOnly, set_id: int) -> HTMLResponse:
    """Show a reading set: figures, picture, words, blade by blade, curves tried."""
    piece = found_or_404(piece_of_set(session, set_id), NOT_HERE)
    of_piece = list_measurements(session, piece)
    measurement = next(kept for kept in of_piece if kept.id == set_id)
    shop, gauges = get_shop(session), gauges_in_use(session, measurement.blade_set_id)
    summary = summarise(measurement, gauges, shop)
    sets = standing(of_piece)
    analysis = summary.analysis
    left, right = analysis.left, analysis.right
    return show_page(
        request,
        "measurements/show.html",
        lengths=list_length_rows(measurement, sets),
        bore_words=say_bore(measurement.lengths),
        dials=list_dial_rows(measurement.facing, analysis),
        dial_words=say_dials(measurement.facing, left, right),
        measurement=measurement,
        piece=piece_or_404(session, piece),
        summary=summary,
        gauges=gauges,
        figures=list_figures(summary, gauges),
        words=[
            *describe_facing(analysis, gauges.glass),
            *say_tables([measurement.read_set], [""]),
        ],
        rows=list_blade_rows(analysis, measurement.recorded, gauges.glass),
        gauge_lines=list_gauge_lines(measurement.readings, measurement.sizes),
        three_ways=list_three_ways(measurement.readings, measurement.corrected, gauges),
        uncertainties=list_uncertainties(measurement.readings, measurement.sizes),
        history_rule=HISTORY_RULE,
        curves=list_curve_rows(analysis),
        tolerance_mm=shop.evenness_tolerance_mm,
    )
