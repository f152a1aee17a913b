"""Drafts on their pages: saved while typing, offered back, discarded by a button.

A draft is written by POST only, in a short transaction of its own; that it could not be written
never stands in the way of what the page answers.
"""

import re
from dataclasses import dataclass

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import Response
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.core.shop.drafts import pick_draft, say_age
from app.store.records.drafts import drop_draft, keep_draft
from app.store.records.submissions import find_submission
from app.store.tables import Draft
from app.web.pages import Form, SettingsDep, Typed, Writing, go_to

router = APIRouter(prefix="/drafts")
PLACE = re.compile(r"/(?:jobs|pieces)/[0-9]{1,9}/readings|/readings/[0-9]{1,9}/correct")


@dataclass(frozen=True, slots=True)
class OfferedDraft:
    """A draft as its page offers it."""

    place: str
    age: str
    line: str
    in_use: bool


def save_draft(request: Request, form: Form, settings: SettingsDep) -> None:
    """Keep what is typed so far; a form that was taken already leaves no draft."""
    if not PLACE.fullmatch(form.get("place")):
        return
    try:
        with request.app.state.sessions.write() as session:
            if find_submission(session, form.get("token")[:64]) is None:
                keep_draft(session, form.get("place"), pick_draft(form.values), settings.now())
                session.commit()
    except DBAPIError:
        return  # busy, full or read-only: the page says so when something is really kept


def take_up_draft(
    session: Session, place: str, form: Form, settings: SettingsDep
) -> OfferedDraft | None:
    """Offer a page's draft, or fill the form with it if the address asks for it."""
    draft = session.get(Draft, place)
    if draft is None:
        return None
    in_use = form.get("draft") == "use"
    if in_use:
        form.values = dict(draft.fields)
    line = str(draft.fields.get("line", ""))
    return OfferedDraft(place, say_age(draft.at, settings.now()), line, in_use)


@router.post("/discard")
def discard(session: Writing, form: Typed) -> Response:
    """Forget a page's draft."""
    place = form.get("place")
    if not PLACE.fullmatch(place):
        raise HTTPException(404, "There is no such draft.")
    drop_draft(session, place)
    session.commit()
    return go_to(place)
