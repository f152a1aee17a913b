"""Sheets that are only printed: a facing's, a whole batch's, the bench list."""

from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.facing.analysis import MalformedReading
from app.core.jobs.jobs import say_wanted
from app.core.jobs.slips import (
    PAGES,
    SLIP_KINDS,
    BatchPart,
    BenchListPart,
    FacingPart,
    Rows,
    SlipPart,
    SlipValues,
)
from app.core.jobs.stages import STAGES
from app.core.values.customers import INSTRUMENT_KINDS
from app.core.values.forms import format_date
from app.core.values.pieces import name_piece
from app.core.values.units import format_mm, format_on_scale
from app.render.papers import Paper
from app.render.profile import ProfilePicture
from app.render.run_chart import draw_run_chart
from app.render.targets import target_lines
from app.store.records.facings import get_facing
from app.store.records.jobs import list_bench
from app.store.records.pieces import get_owned_piece
from app.store.records.shop import get_shop
from app.web.facing.pictures import blade_levels
from app.web.jobs.batches import PieceLine, chart_of, gather_batch
from app.web.jobs.shown_papers import answer_paper, show_paper
from app.web.jobs.slip_cards import maker_picture
from app.web.jobs.slip_subjects import Subject
from app.web.jobs.slip_values import (
    draw_mark,
    prepare_slip,
    put_together,
    shop_common,
)
from app.web.pages import ReadOnly, SettingsDep, found_or_404
from app.web.plan.facings import NOT_HERE, gather_facing
from app.web.plan.planning import uncertainties_of

router = APIRouter()
MOST_COLUMNS = (
    8  # blades beside each other on a batch's sheet; with more their readings' line says it
)


def make_sheet(
    session: Session, settings: SettingsDep, kind: str, title: str, part: SlipPart,
    pictures: Mapping[str, str] | None = None, *, page: str = "",
    ) -> Paper:  # fmt: skip
    """Put a sheet together that is about no one job; it prints on `page`, else the shop's paper."""
    shop = get_shop(session)
    values = SlipValues(shop_common(shop, settings), part)
    shown = draw_mark(session) | dict(pictures or {})
    return put_together(kind, title, PAGES[page or shop.paper], values, shown)


def show_sheet(
    request: Request, session: Session, paper: Paper, heading: str, back: str
) -> HTMLResponse:
    """Show how a sheet prints; `back` is the page it belongs to."""
    query = f"?{request.url.query}" if request.url.query else ""
    return show_paper(
        request,
        "slips/sheet.html",
        paper,
        request.url.path,
        choose=query,
        heading=heading,
        back=back,
        page=PAGES[get_shop(session).paper],
    )


# A facing's sheet ------------------------------------------------------------------------------


def _facing_paper(
    session: Session, settings: SettingsDep, facing_id: int, blade_set: str, glass: str
) -> Paper:
    facing = found_or_404(get_facing(session, facing_id), NOT_HERE)
    facts = gather_facing(session, facing, blade_set, glass)
    gauges, tip_mm = facts["gauges"], facts["tip_mm"]
    rows = [
        (row.blade, row.left, row.right, f"{row.low} to {row.high}" if row.low else "",
         row.left_mm if row.left_mm == row.right_mm else f"{row.left_mm} · {row.right_mm}")
        for row in (facts["rows"] if gauges.thin_first else reversed(facts["rows"]))
    ]  # fmt: skip
    alike = all(left == right for _, left, right, *_ in rows)
    if tip_mm is not None:
        thou = " thou" if gauges.tip.unit == "thou" else ""
        allowed = facing.tolerance.tip_mm
        rows.append(
            ("Tip opening", format_on_scale(tip_mm, gauges.tip) + thou, "",
             f"± {format_mm(allowed)} mm" if allowed is not None else "", format_mm(tip_mm))
        )  # fmt: skip
    may_read = ("May read",) if any(row[3] for row in rows) else ()
    heads = ("Blade", *(("Both rails",) if alike else ("Left", "Right")), *may_read, "In mm")
    curve = f"{facts['curve'].capitalize()} through the tip opening and the thinnest blade’s stop."
    about = (
        f"{INSTRUMENT_KINDS[facing.instrument_kind]}.".capitalize(),
        curve if facts["curve"] else "",
        f"Tolerance: {facts['tolerance']}." if facts["tolerance"] else "",
    )
    part = FacingPart(
        name=facing.name,
        about=" ".join(sentence for sentence in about if sentence),
        heads=heads,
        rows=tuple(
            tuple(cell or ("–" if at in {1, 2} and row[0] != "Tip opening" else "")
                  for at, cell in enumerate(row)
                  if not (alike and at == 2) and (may_read or at != 3))
            for row in rows
        ),
        explained=f"In {gauges.counted}; – means that the blade does not go in. A blade "
        "that stops further out than it should stands on a rail that is too open: only the table "
        "can bring that back.",
        picture=_draw_facing(facing.target, gauges),
        note=facing.note,
    )  # fmt: skip
    return make_sheet(session, settings, "facing_sheet", f"Facing sheet, {facing.name}", part)


def _draw_facing(target: Any, gauges: Any) -> Any:
    try:
        lines = target_lines(target, "target", uncertainties_of(None))
    except MalformedReading:
        return None
    return maker_picture(
        ProfilePicture(
            lines=lines,
            blades=blade_levels(gauges),
            glass_mm_per_number=float(gauges.glass.mm_per_unit),
        )
    )


@router.get("/facings/{facing_id}/sheet")
def facing(
    request: Request,
    session: ReadOnly,
    settings: SettingsDep,
    facing_id: int,
    blade_set: str = "",
    glass: str = "",
) -> HTMLResponse:
    """Show a facing's sheet as it prints."""
    paper = _facing_paper(session, settings, facing_id, blade_set, glass)
    return show_sheet(request, session, paper, "Facing sheet", f"/facings/{facing_id}")


@router.get("/facings/{facing_id}/sheet/{name}")
def facing_file(
    request: Request,
    session: ReadOnly,
    settings: SettingsDep,
    facing_id: int,
    name: str,
    blade_set: str = "",
    glass: str = "",
) -> Response:
    """Send a page of a facing's sheet, or its PDF."""
    paper = _facing_paper(session, settings, facing_id, blade_set, glass)
    return answer_paper(request, paper, name, f"facing-{facing_id}.pdf")


# A batch, whole --------------------------------------------------------------------------------


def _batch_paper(session: Session, settings: SettingsDep, batch_id: int, site: str) -> Paper:
    facts = gather_batch(session, batch_id)
    batch, lines = facts["batch"], facts["lines"]
    blades = facts["heads"] if len(facts["heads"]) <= MOST_COLUMNS else []
    charts = {run.quantity: chart_of(run, "small") for run in facts["runs"]}
    pictures = {
        f"run-{quantity}.svg": draw_run_chart(chart).decode()
        for quantity, chart in charts.items()
        if chart
    }
    owned = (get_owned_piece(session, line.made.piece.id) for line in lines)
    records = [
        prepare_slip(session, SLIP_KINDS["piece_record"], Subject(piece, None), settings, site=site)
        for piece in owned
        if piece
    ]
    for record in records:
        pictures |= dict(record.paper.pictures)
    part = BatchPart(
        name=batch.name,
        facts=(
            ("Target", f"{facts['facing'].name}: {facts['target_line']}"),
            ("Tolerance", facts["tolerance"] or "none: judged by what the gauges can tell"),
            ("Begun", format_date(batch.started_on)),
            ("Note", batch.note),
        ),
        summary=facts["summary"],
        heads=("Piece", "Last read", "Tip, mm", *blades, "Verdict"),
        rows=tuple(_batch_row(line, len(blades), facts["within"]) for line in lines),
        explained=facts["explained"],
        runs=tuple(
            (
                run.label,
                run.words,
                f"run-{run.quantity}.svg" if charts[run.quantity] else "",
                f"Run chart of the {run.label.lower()} with centre, limits and target",
            )
            for run in facts["runs"]
            if charts[run.quantity]
        ),
        records=tuple(record.values for record in records),
    )
    return make_sheet(session, settings, "batch_sheet", f"Batch, {batch.name}", part, pictures)


def _batch_row(line: PieceLine, blades: int, within: str) -> tuple[str, ...]:
    piece, last = line.made.piece, line.made.last
    name = piece.marking or name_piece(piece.maker, piece.model, piece.marking, piece.telling_marks)
    if last is None:
        return (name, "not read yet", *[""] * (blades + 1), "")
    read = f"{line.line}\n{format_date(last.taken_on)}"
    if line.refusal:
        return (name, read, *[""] * (blades + 1), f"Can’t be judged: {line.refusal}")
    away = [cell.words or "–" for cell in line.away][: blades + 1]
    lead, why = line.told
    lead = lead or within.capitalize()
    return (name, read, *away, *["–"] * (blades + 1 - len(away)), f"{lead}: {why}" if why else lead)


@router.get("/batches/{batch_id}/sheet")
def batch(
    request: Request, session: ReadOnly, settings: SettingsDep, batch_id: int
) -> HTMLResponse:
    """Show a batch as it prints, whole: its sheet and its pieces' records."""
    paper = _batch_paper(session, settings, batch_id, str(request.base_url))
    return show_sheet(request, session, paper, "The batch, whole", f"/batches/{batch_id}")


@router.get("/batches/{batch_id}/sheet/{name}")
def batch_file(
    request: Request, session: ReadOnly, settings: SettingsDep, batch_id: int, name: str
) -> Response:
    """Send a page of a batch's papers, or the PDF of them all."""
    paper = _batch_paper(session, settings, batch_id, str(request.base_url))
    return answer_paper(request, paper, name, f"batch-{batch_id}.pdf")


# The bench list --------------------------------------------------------------------------------


def _bench_paper(session: Session, settings: SettingsDep) -> Paper:
    today = settings.today()

    def rows(jobs: Sequence[Any], stage: str) -> Rows:
        return tuple(
            (
                str(job.number),
                name_piece(
                    job.piece.maker, job.piece.model, job.piece.marking, job.piece.telling_marks
                )
                + f"\n{INSTRUMENT_KINDS[job.piece.instrument_kind]}",
                job.customer.name,
                f"{format_date(job.wanted_by)}\n{say_wanted(job.wanted_by, stage, today)}".strip(),
                " ".join((job.agreed_work or job.request).split()),
            )
            for job in jobs
        )  # fmt: skip

    stages = tuple(
        (
            STAGES[group.stage].label.capitalize(),
            STAGES[group.stage].next_words,
            rows(group.jobs, group.stage),
        )
        for group in list_bench(session)
        if group.jobs
    )
    return make_sheet(session, settings, "bench_list", "Bench list", BenchListPart(stages))


@router.get("/bench-list")
def bench(request: Request, session: ReadOnly, settings: SettingsDep) -> HTMLResponse:
    """Show the bench list as it prints."""
    return show_sheet(request, session, _bench_paper(session, settings), "Bench list", "/")


@router.get("/bench-list/{name}")
def bench_file(request: Request, session: ReadOnly, settings: SettingsDep, name: str) -> Response:
    """Send a page of the bench list, or its PDF."""
    return answer_paper(request, _bench_paper(session, settings), name, "bench-list.pdf")
