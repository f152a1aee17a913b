"""The gauge register: what there is, how big it really is, and what that does to readings."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.compare.size_words import HISTORY_RULE
from app.core.gauges.blade_sets import FAMILIES
from app.core.gauges.gauge_words import describe_run, list_check_rows, say_repeatability, say_size
from app.core.gauges.gauges import (
    GAUGE_KINDS,
    UNITS,
    CheckEntry,
    GaugeEntry,
    parse_check,
    parse_gauge,
)
from app.core.values.forms import short_date
from app.core.values.units import SCALES, Scale, format_mm, format_number, scales_for, to_scale
from app.render.run_chart import RunChart, RunPoint, draw_run_chart
from app.store.records.blade_sets import family_sets
from app.store.records.gauges import (
    add_check,
    add_gauge,
    count_reading_sets,
    find_namesake,
    gauge_facts,
    get_gauge,
    kept_checks,
    list_reading_sets_with,
    list_register,
    places_of,
    retire_gauge,
    strike_check,
)
from app.store.records.revisions import list_revisions, save_entry
from app.store.records.shop import get_shop, list_blade_sets, list_gauges
from app.store.tables import Gauge, GaugeCheck
from app.web.drawn import answer_picture
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

router = APIRouter(prefix="/gauges")
NOT_HERE = "There is no such gauge in this book."


@dataclass(frozen=True, slots=True)
class RegisterLine:
    """One gauge as the register lists it."""

    gauge: Gauge
    size: str
    repeats: str
    checked_on: date | None


@router.get("")
def index(request: Request, session: ReadOnly, settings: SettingsDep) -> HTMLResponse:
    """List the register by kind, the blade sets, and which set each family is read with."""
    return show_register(request, session, settings, Form())


def show_register(
    request: Request, session: Session, settings: SettingsDep, form: Form
) -> HTMLResponse:
    """Show the register, with a refused form if there is one."""
    lines = [_register_line(gauge, settings.today()) for gauge in list_register(session)]
    shop = get_shop(session)
    sets = list_blade_sets(session)
    usual = next(blade_set.name for blade_set in sets if blade_set.id == shop.blade_set_id)
    return show_page(
        request,
        "gauges/index.html",
        form=form,
        groups=[
            (
                kind,
                [line for line in lines if line.gauge.kind == kind.key and not line.gauge.retired],
            )
            for kind in GAUGE_KINDS.values()
        ],
        retired=[line for line in lines if line.gauge.retired],
        kinds=GAUGE_KINDS,
        blade_sets=sets,
        families=FAMILIES,
        chosen=family_sets(session),
        usual=usual,
    )


def _register_line(gauge: Gauge, today: date) -> RegisterLine:
    facts = gauge_facts(gauge)
    last = max((check.on for check in facts.checks), default=None)
    return RegisterLine(gauge, say_size(facts, today), say_repeatability(facts, today), last)


@router.get("/new/{kind}")
def new(request: Request, kind: str) -> HTMLResponse:
    """Show an empty page for a gauge of one kind."""
    return _edit_page(request, Form(), kind, None)


def _edit_page(request: Request, form: Form, kind: str, gauge: Gauge | None) -> HTMLResponse:
    gauge_kind = found_or_404(GAUGE_KINDS.get(kind), "There is no such kind of gauge.")
    scales = scales_for(gauge_kind.measures)
    scale = SCALES[gauge.scale] if gauge and gauge.scale else scales[0]
    if gauge_kind.is_blade and (gauge is None or not gauge.scale):
        scale = SCALES["length_in"]
    return show_page(
        request,
        "gauges/edit.html",
        form=form,
        kind=gauge_kind,
        gauge=gauge,
        scales=[(choice.key, f"{choice.label} ({choice.example})") for choice in scales],
        scale=scale,
        shown=_shown(gauge, scale),
    )


def _shown(gauge: Gauge | None, scale: Scale) -> dict[str, str]:
    """Write a gauge's lengths the way its page takes them."""
    if gauge is None:
        return {"nominal": "", "resolution": "", "tolerance": "", "repeatability": "", "laying": ""}

    def number(value_mm: float | None, places: int = 4) -> str:
        return "" if value_mm is None else format_number(value_mm, places)

    nominal = ""
    if gauge.nominal_mm is not None:
        in_inches = scale.key == "length_in"
        nominal = format_number(
            gauge.nominal_mm / 25.4 if in_inches else gauge.nominal_mm, 5 if in_inches else 4
        )
    step = gauge.resolution_mm
    return {
        "nominal": nominal,
        "resolution": "" if step is None else format_number(to_scale(step, scale), 6),
        "tolerance": number(gauge.tolerance_mm),
        "repeatability": number(gauge.repeatability_mm),
        "laying": number(None if gauge.laying_mm is None else 2.0 * gauge.laying_mm),
    }


@router.post("/new/{kind}")
def create(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, kind: str
) -> Response:
    """Write a gauge into the register."""
    refuse_twice(session, form)
    entry = _read_gauge(session, form, kind, None)
    if entry is None:
        return _edit_page(request, form, kind, None)
    gauge = add_gauge(session, entry)
    return commit_once(session, form, f"/gauges/{gauge.id}?said=added", settings.now())


def _read_gauge(session: Session, form: Form, kind: str, gauge: Gauge | None) -> GaugeEntry | None:
    """Read a gauge's page; None if it was refused, with the reasons in the form."""
    gauge_kind = found_or_404(GAUGE_KINDS.get(kind), "There is no such kind of gauge.")
    entry = parse_gauge(form.values, gauge_kind)
    if form.is_refused(entry):
        return None
    if find_namesake(session, kind, entry.label, gauge.id if gauge else None):
        form.problems["label"] = (
            f"There is a {gauge_kind.label} of that name in use. Add what tells them apart, "
            "such as “second” or its colour."
        )
        return None
    return entry


@router.get("/{gauge_id}")
def show(request: Request, session: ReadOnly, settings: SettingsDep, gauge_id: int) -> HTMLResponse:
    """Show a gauge: its size now, its checks, its studies, and the readings taken with it."""
    gauge = found_or_404(get_gauge(session, gauge_id), NOT_HERE)
    return _show_page(request, session, gauge, settings, Form())


def _show_page(
    request: Request, session: Session, gauge: Gauge, settings: SettingsDep, form: Form
) -> HTMLResponse:
    facts, kind = gauge_facts(gauge), GAUGE_KINDS[gauge.kind]
    scale = scale_of(gauge)
    sets, named_by_shop = places_of(session, gauge)
    return show_page(
        request,
        "gauges/show.html",
        form=form,
        gauge=gauge,
        kind=kind,
        scale=scale,
        size=say_size(facts, settings.today()),
        repeats=say_repeatability(facts, settings.today()),
        facts=_list_facts(gauge, scale),
        checks=list_check_rows(facts, kept_checks(gauge)),
        run=describe_run(facts),
        units=list(UNITS.items()),
        unit="length_in" if scale.key.endswith("_in") else "length_mm",
        history_rule=HISTORY_RULE,
        blade_sets=sets,
        named_by_shop=named_by_shop,
        others=[other for other in list_gauges(session, gauge.kind) if other.id != gauge.id],
        reading_sets=list_reading_sets_with(session, gauge.id),
        reading_count=count_reading_sets(session, gauge.id),
        revisions=[
            (revision.at.date(), describe_revision(revision.before))
            for revision in list_revisions(session, "gauge", gauge.id)
        ],
    )


def scale_of(gauge: Gauge) -> Scale:
    """The scale a gauge is engraved in; blades of old books are in inches."""
    return SCALES[gauge.scale or ("length_in" if gauge.kind == "blade" else "length_mm")]


def _list_facts(gauge: Gauge, scale: Scale) -> list[tuple[str, str]]:
    facts = []
    if gauge.kind == "blade":
        facts.append(("Marked", f"{format_mm(gauge.nominal_mm or 0.0, 4)} mm"))
    else:
        step = gauge.resolution_mm or scale.step_mm
        facts.append(("Engraved in", f"{scale.label} ({scale.example})"))
        on_scale = format_number(to_scale(step, scale), 6)
        facts.append(("Read to", f"{on_scale} ({format_number(step, 4)} mm)"))
    if gauge.tolerance_mm is not None:
        facts.append(("Held within", f"± {format_number(gauge.tolerance_mm, 4)} mm"))
    if gauge.notes:
        facts.append(("Notes", gauge.notes))
    return facts


@router.get("/{gauge_id}/checks.svg")
def draw_checks(request: Request, session: ReadOnly, gauge_id: int) -> Response:
    """Draw a gauge's checks as a run chart."""
    gauge = found_or_404(get_gauge(session, gauge_id), NOT_HERE)
    run, blade = describe_run(gauge_facts(gauge)), gauge.kind == "blade"
    chart = found_or_404(run.chart, "A run chart needs at least two checks.")
    picture = RunChart(
        points=tuple(
            RunPoint(short_date(day), value)
            for day, value in zip(run.days, run.values_mm, strict=True)
        ),
        caption="thickness, mm" if blade else "true length less what the marks say, mm",
        decimals=4 if blade else 3,
        centre=chart.centre_mm,
        lower=chart.lower_mm,
        upper=chart.upper_mm,
        nominal=gauge.nominal_mm if blade else 0.0,
        outside=chart.beyond,
        order="by day of the check",
        width_mm=184.0,
        height_mm=80.0,
    )
    return answer_picture(request, picture, lambda: draw_run_chart(picture))


@router.get("/{gauge_id}/edit")
def edit(request: Request, session: ReadOnly, gauge_id: int) -> HTMLResponse:
    """Show a gauge's fields to correct."""
    gauge = found_or_404(get_gauge(session, gauge_id), NOT_HERE)
    return _edit_page(request, Form(), gauge.kind, gauge)


@router.post("/{gauge_id}/edit")
def update(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, gauge_id: int
) -> Response:
    """Correct a gauge; the earlier words are kept."""
    gauge = found_or_404(get_gauge(session, gauge_id), NOT_HERE)
    entry = _read_gauge(session, form, gauge.kind, gauge)
    if entry is None:
        return _edit_page(request, form, gauge.kind, gauge)
    save_entry(session, gauge, entry, form.seen_version, settings.now())
    session.commit()
    return go_to(f"/gauges/{gauge_id}?said=kept")


@router.post("/{gauge_id}/retire")
def retire(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, gauge_id: int
) -> Response:
    """Retire a gauge, another taking its place, or bring it back."""
    gauge = found_or_404(get_gauge(session, gauge_id), NOT_HERE)
    if form.get("do") == "bring_back":
        if find_namesake(session, gauge.kind, gauge.label, gauge.id):
            form.problems["instead"] = (
                "Another gauge in use has this name by now. Correct one of the names first."
            )
            return _show_page(request, session, gauge, settings, form)
        retire_gauge(session, gauge, None, False, settings.now())
        session.commit()
        return go_to(f"/gauges/{gauge_id}?said=back")
    others = {
        str(other.id): other for other in list_gauges(session, gauge.kind) if other.id != gauge_id
    }
    instead = others.get(form.get("instead"))
    if problem := _cannot_retire(session, gauge, instead):
        form.problems["instead"] = problem
        return _show_page(request, session, gauge, settings, form)
    retire_gauge(session, gauge, instead, True, settings.now())
    session.commit()
    return go_to(f"/gauges/{gauge_id}?said=retired")


def _cannot_retire(session: Session, gauge: Gauge, instead: Gauge | None) -> str:
    if gauge.retired:
        return "This gauge is retired already."
    sets, named_by_shop = places_of(session, gauge)
    if instead is not None:
        return ""
    if named_by_shop:
        return "The shop reads with this one. Choose what takes its place."
    alone = [blade_set.name for blade_set in sets if len(blade_set.members) == 1]
    if alone:
        return f"It is the only blade of “{alone[0]}”. Choose what takes its place."
    return ""


@router.post("/{gauge_id}/checks")
def create_check(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, gauge_id: int
) -> Response:
    """Keep a check of a gauge."""
    gauge = found_or_404(get_gauge(session, gauge_id), NOT_HERE)
    refuse_twice(session, form)
    kind = GAUGE_KINDS[gauge.kind]
    entry = parse_check(form.values, kind, scale_of(gauge), gauge.nominal_mm, settings.today())
    if form.is_refused(entry):
        return _show_page(request, session, gauge, settings, form)
    assert isinstance(entry, CheckEntry)  # noqa: S101 - the other case was answered above
    add_check(session, gauge, entry, settings.now())
    return commit_once(session, form, f"/gauges/{gauge_id}?said=checked#checks", settings.now())


@router.post("/{gauge_id}/checks/{check_id}/strike")
def strike(
    session: Writing, form: Typed, settings: SettingsDep, gauge_id: int, check_id: int
) -> Response:
    """Strike a check out, or bring it back."""
    check = session.get(GaugeCheck, check_id)
    if check is None or check.gauge_id != gauge_id:
        check = None
    check = found_or_404(check, "There is no such check in this book.")
    strike_check(session, check, form.get("do") != "bring_back", settings.now())
    session.commit()
    return go_to(f"/gauges/{gauge_id}#checks")


def describe_revision(before: dict[str, Any]) -> str:
    """Say what a record's earlier words were, in one line."""
    return "; ".join(
        f"{name.removesuffix('_mm').replace('_', ' ')}: {_plainly(value)}"
        for name, value in before.items()
    )


def _plainly(value: Any) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{format_number(value, 4)} mm"
    return str(value)
