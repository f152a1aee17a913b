"""Repeatability studies: a guided grid, the outcome in words, and taking it over for the gauge."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.gauges.gauges import GAUGE_KINDS
from app.core.gauges.studies import (
    MOST_PIECES,
    MOST_TURNS,
    StudyEntry,
    StudyValue,
    clamp_size,
    describe_study,
    list_study_rows,
    parse_study,
    study_cell,
)
from app.core.values.lengths import say_meaning
from app.core.values.units import SCALES, Scale
from app.store.records.gauges import get_gauge, study_values
from app.store.records.shop import get_shop, list_gauges
from app.store.records.studies import add_study, adopt_study, get_study
from app.store.tables import Gauge
from app.web.gauges.gauges import scale_of
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    commit_once,
    found_or_404,
    go_to,
    refuse_twice,
    show_page,
)

router = APIRouter(prefix="/gauges/{gauge_id}/studies")
NOT_HERE = "There is no such gauge in this book."


@router.get("/new")
def new(
    request: Request, session: ReadOnly, gauge_id: int,
    pieces: str = "", turns: str = "",
) -> HTMLResponse:  # fmt: skip
    """Show the guided grid."""
    gauge = found_or_404(get_gauge(session, gauge_id), NOT_HERE)
    columns, rows = clamp_size(pieces, turns)
    form = Form(values={"pieces": str(columns), "turns": str(rows)})
    return _grid(request, session, gauge, form)


def _read_on(session: Session, gauge: Gauge, form: Form) -> Gauge:
    """The gauge whose marks are read: for a blade the glass, else the gauge itself."""
    if gauge.kind != "blade":
        return gauge
    glasses = {str(glass.id): glass for glass in list_gauges(session, "glass")}
    chosen = glasses.get(form.get("read_on"))
    return chosen or session.get_one(Gauge, get_shop(session).glass_id)


def _grid(
    request: Request,
    session: Session,
    gauge: Gauge,
    form: Form,
    outcome: StudyEntry | None = None,
) -> HTMLResponse:
    pieces, turns = clamp_size(form.get("pieces"), form.get("turns"))
    read_on = _read_on(session, gauge, form)
    scale = scale_of(read_on)
    return show_page(
        request,
        "studies/new.html",
        form=form,
        gauge=gauge,
        kind=GAUGE_KINDS[gauge.kind],
        read_on=read_on,
        glasses=list_gauges(session, "glass") if gauge.kind == "blade" else [],
        scale=scale,
        pieces=pieces,
        turns=turns,
        most_pieces=MOST_PIECES,
        most_turns=MOST_TURNS,
        study_cell=study_cell,
        meaning=lambda text: say_meaning(text, scale),
        words=_describe(outcome.values, gauge, read_on, scale) if outcome else [],
        rows=list_study_rows(outcome.values, scale) if outcome else [],
    )


def _describe(
    values: tuple[StudyValue, ...], gauge: Gauge, read_on: Gauge, scale: Scale
) -> list[str]:
    return describe_study(values, gauge.label, scale, read_on.resolution_mm or scale.step_mm)


@router.post("/new")
def create(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, gauge_id: int
) -> Response:
    """Keep a study as typed, or only say what it comes to."""
    gauge = found_or_404(get_gauge(session, gauge_id), NOT_HERE)
    refuse_twice(session, form)
    read_on = _read_on(session, gauge, form)
    pieces, turns = clamp_size(form.get("pieces"), form.get("turns"))
    entry = parse_study(form.values, scale_of(read_on), pieces, turns, settings.today())
    if form.is_refused(entry):
        return _grid(request, session, gauge, form)
    if form.get("do") == "check":
        return _grid(request, session, gauge, form, entry)
    study = add_study(
        session, gauge, read_on.id if read_on is not gauge else None, entry, settings.now()
    )
    location = f"/gauges/{gauge_id}/studies/{study.id}?said=kept"
    return commit_once(session, form, location, settings.now())


@router.get("/{study_id}")
def show(request: Request, session: ReadOnly, gauge_id: int, study_id: int) -> HTMLResponse:
    """Show a study: what was read, what it comes to, and whether it is used."""
    study = get_study(session, study_id)
    if study is not None and study.gauge_id != gauge_id:
        study = None
    study = found_or_404(study, "There is no such study in this book.")
    scale, values = SCALES[study.scale], study_values(study)
    return show_page(
        request,
        "studies/show.html",
        study=study,
        gauge=study.gauge,
        read_on=study.read_on,
        scale=scale,
        words=_describe(values, study.gauge, study.read_on or study.gauge, scale),
        rows=list_study_rows(values, scale),
    )


@router.post("/{study_id}/adopt")
def adopt(
    session: Writing, form: Typed, settings: SettingsDep, gauge_id: int, study_id: int
) -> Response:
    """Take a study over for its gauge, or no longer use it."""
    study = get_study(session, study_id)
    if study is not None and study.gauge_id != gauge_id:
        study = None
    study = found_or_404(study, "There is no such study in this book.")
    used = form.get("do") != "leave"
    adopt_study(session, study, settings.today() if used else None, settings.now())
    session.commit()
    return go_to(f"/gauges/{gauge_id}/studies/{study_id}?said={'used' if used else 'left'}")
