"""Forgetting a customer: what would go and what would stay, then a press that can't be undone."""

from dataclasses import replace

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from app.core.shop.backups import gone_by
from app.store.book.backup import list_backups
from app.store.book.backup_places import own_place
from app.store.book.erasure import (
    Removal,
    finish_forgetting,
    forget_customer,
    get_forgetting,
    plan_removal,
)
from app.store.book.restoring import ASIDE_NAME
from app.store.book.upkeep import read_upkeep
from app.store.records.customers import get_customer
from app.store.tables import Forgetting
from app.web.pages import (
    Form,
    ReadOnly,
    SettingsDep,
    Typed,
    Writing,
    found_or_404,
    go_to,
    note_taken,
    refuse_twice,
    show_page,
)
from app.web.settings import Settings
from app.web.shop.customers import NOT_HERE

router = APIRouter(prefix="/customers/{customer_id}/forget")


@router.get("")
def new(request: Request, session: ReadOnly, settings: SettingsDep, customer_id: int) -> Response:
    """Show what forgetting a customer removes and what it keeps."""
    customer = found_or_404(get_customer(session, customer_id), NOT_HERE)
    if get_forgetting(session, customer_id):
        return go_to(f"/customers/{customer_id}")
    return _page(request, plan_removal(session, customer), settings, Form())


def _page(request: Request, removal: Removal, settings: Settings, form: Form) -> HTMLResponse:
    upkeep = read_upkeep(settings.book, settings.now())
    aside = settings.book / ASIDE_NAME
    backups = list_backups(settings.book, upkeep)
    return show_page(
        request,
        "erasure/new.html",
        form=form,
        removal=removal,
        customer=removal.customer,
        backups=backups,
        folders=sorted({str(backup.folder.parent) for backup in backups})
        or [own_place(settings.book)],
        rotation=upkeep.rotation,
        gone_by=gone_by(upkeep.rotation, settings.today()),
        aside=str(aside) if aside.exists() else "",
    )


@router.post("")
def create(
    request: Request, session: Writing, form: Typed, settings: SettingsDep, customer_id: int
) -> Response:
    """Forget a customer, or finish what could not be cleared away the first time."""
    customer = found_or_404(get_customer(session, customer_id), NOT_HERE)
    location = f"/customers/{customer_id}?said=forgotten"
    refuse_twice(session, form)
    forgetting = get_forgetting(session, customer_id)
    if forgetting is None:
        removal = plan_removal(session, customer)
        if problem := _find_problem(removal, form):
            form.problems = {"sure": problem}
            return _page(request, removal, settings, form)
        forgetting = forget_customer(
            session,
            replace(removal, texts=removal.texts.judged(form.ticked("also"))),
            with_photos=bool(form.get("photos")),
            today=settings.today(),
            now=settings.now(),
        )
        note_taken(session, form, location, settings.now())
        session.commit()
    _finish(request, session, settings, forgetting)
    return go_to(location)


def _find_problem(removal: Removal, form: Form) -> str:
    if removal.hindrance:
        return removal.hindrance
    if " ".join(form.get("sure").split()) != " ".join(removal.customer.name.split()):
        return "Write the customer's name as it stands above, to say that you mean it."
    return ""


def _finish(request: Request, session: Writing, settings: Settings, forgetting: Forgetting) -> None:
    """Clear away what lies outside the records; until it is done the customer's page offers it."""
    if forgetting.finished_at is not None:
        return
    session.commit()  # nothing may hold the database while its file is written anew
    engine = request.app.state.sessions.engine
    if not finish_forgetting(engine, settings.book, forgetting, settings.now()):
        session.commit()
