"""The price list's page: every line in one table, kept together."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.gauges.blade_sets import FAMILIES
from app.core.jobs.services import MORE_LINES, parse_services
from app.store.records.revisions import Conflict
from app.store.records.services import list_services, save_services
from app.store.records.shop import get_shop
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    commit_once,
    refuse_twice,
    show_page,
)

router = APIRouter(prefix="/settings/prices")


@router.get("")
def edit(request: Request, session: ReadOnly) -> HTMLResponse:
    """Show the price list."""
    return _page(request, session, Form())


def _page(request: Request, session: Session, form: Form) -> HTMLResponse:
    lines = [(str(service.id), service) for service in list_services(session, also_retired=True)]
    return show_page(
        request,
        "services/edit.html",
        form=form,
        lines=[*lines, *((f"new{at}", None) for at in range(MORE_LINES))],
        families=[("", "all others"), *((key, family.label) for key, family in FAMILIES.items())],
        currency=get_shop(session).currency,
    )


@router.post("")
def update(request: Request, session: Writing, form: Typed, settings: SettingsDep) -> Response:
    """Keep the price list; what was charged before stays as it was."""
    refuse_twice(session, form)
    ids = [service.id for service in list_services(session, also_retired=True)]
    entries = parse_services(form.values, ids, get_shop(session).currency)
    if form.is_refused(entries):
        return _page(request, session, form)
    versions = {mark: form.get(f"version_{mark}") for mark in entries}
    seen = {mark: int(text) for mark, text in versions.items() if text.isdecimal()}
    try:
        save_services(session, entries, seen, settings.now())
    except Conflict as conflict:
        session.rollback()
        now = "; ".join(f"it says “{theirs}” now" for theirs, _ in conflict.changed.values())
        form.problems = {
            "prices": f"A line was changed in another window meanwhile: {now}. Nothing was kept; "
            "open the list again, then change it."
        }
        return _page(request, session, form)
    return commit_once(session, form, "/settings/prices?said=kept", settings.now())
