"""Blade sets: put together, changed, and chosen for a family of instruments."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.gauges.blade_sets import BladeSetEntry, parse_blade_set, parse_families
from app.core.values.forms import as_number
from app.store.records.blade_sets import (
    add_blade_set,
    find_set_named,
    get_blade_set,
    save_blade_set,
    save_families,
)
from app.store.records.gauges import list_register
from app.store.records.revisions import list_revisions
from app.store.records.shop import list_blade_sets
from app.store.tables import BladeSet, Gauge
from app.web.gauges.gauges import describe_revision, show_register
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

router = APIRouter(prefix="/blade-sets")
NOT_HERE = "There is no such blade set in this book."


@router.get("/new")
def new(request: Request, session: ReadOnly) -> HTMLResponse:
    """Show the blades to put a set together from."""
    return _edit_page(request, session, Form(), None)


def _blades(session: Session, blade_set: BladeSet | None) -> list[Gauge]:
    """List the blades a set may hold: those in use, and those it holds already."""
    held = {member.gauge_id for member in blade_set.members} if blade_set else set()
    return [
        gauge
        for gauge in list_register(session)
        if gauge.kind == "blade" and (not gauge.retired or gauge.id in held)
    ]


def _edit_page(
    request: Request, session: Session, form: Form, blade_set: BladeSet | None
) -> HTMLResponse:
    if form.values:
        ticked = set(map(as_number, form.ticked("blade")))
    else:
        ticked = {member.gauge_id for member in blade_set.members} if blade_set else set()
    revisions = list_revisions(session, "blade_set", blade_set.id) if blade_set else []
    return show_page(
        request,
        "blade_sets/edit.html",
        form=form,
        blade_set=blade_set,
        blades=_blades(session, blade_set),
        ticked=ticked,
        revisions=[
            (revision.at.date(), describe_revision(revision.before)) for revision in revisions
        ],
    )


def _read(session: Session, form: Form, blade_set: BladeSet | None) -> BladeSetEntry | None:
    known = {blade.id: blade.nominal_mm or 0.0 for blade in _blades(session, blade_set)}
    entry = parse_blade_set(form.values, form.ticked("blade"), known)
    if form.is_refused(entry):
        return None
    if find_set_named(session, entry.name, blade_set.id if blade_set else None):
        form.problems["name"] = "There is a blade set of that name already."
        return None
    return entry


@router.post("/new")
def create(request: Request, session: Writing, form: Typed, settings: SettingsDep) -> Response:
    """Put a set together."""
    refuse_twice(session, form)
    entry = _read(session, form, None)
    if entry is None:
        return _edit_page(request, session, form, None)
    add_blade_set(session, entry)
    return commit_once(session, form, "/gauges?said=set-made#blade-sets", settings.now())


@router.get("/{set_id}/edit")
def edit(request: Request, session: ReadOnly, set_id: int) -> HTMLResponse:
    """Show a set's name and blades to change."""
    blade_set = found_or_404(get_blade_set(session, set_id), NOT_HERE)
    return _edit_page(request, session, Form(), blade_set)


@router.post("/{set_id}/edit")
def update(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, set_id: int
) -> Response:
    """Change a set; readings already taken name their own blades and stay as they are."""
    blade_set = found_or_404(get_blade_set(session, set_id), NOT_HERE)
    entry = _read(session, form, blade_set)
    if entry is None:
        return _edit_page(request, session, form, blade_set)
    save_blade_set(session, blade_set, entry, form.seen_version, settings.now())
    session.commit()
    return go_to("/gauges?said=set-kept#blade-sets")


@router.post("/families")
def choose(request: Request, session: Writing, form: Typed, settings: SettingsDep) -> Response:
    """Choose the set for each family of instruments."""
    chosen = parse_families(form.values, {blade_set.id for blade_set in list_blade_sets(session)})
    if form.is_refused(chosen):
        return show_register(request, session, settings, form)
    save_families(session, chosen, settings.now())
    session.commit()
    return go_to("/gauges?said=families#blade-sets")
