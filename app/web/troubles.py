"""When the book can't be written: said in words, and everything typed is ready to send again.

The form's token goes along, and what was kept is noted in the same transaction as the token: to
send it again is always safe, even if the first one had gone through.
"""

from dataclasses import dataclass
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from sqlalchemy.exc import DBAPIError

from app.core.shop.field_words import label_field, say_value
from app.store.book.locks import Outdated
from app.store.engines import name_trouble
from app.store.records.gauges import load_register
from app.store.records.revisions import Conflict
from app.store.records.shop import get_shop, list_blade_sets
from app.web.guard import HEADERS
from app.web.pages import Form, go_to, show_page


@dataclass(frozen=True, slots=True)
class Trouble:
    """What is wrong, in words, and what may help."""

    heading: str
    words: str


BUSY = Trouble(
    "The book is busy",
    "Another window or program is writing in it. Nothing of this page was kept yet; "
    "try again in a moment.",
)
UNKNOWN = Trouble(
    "The book can’t be written",
    "The disk it lies on refused. Nothing of this page was kept yet.",
)
BROKEN = Trouble(
    "This went wrong",
    "Something in this program went wrong, and nothing of this page was kept.",
)
DAMAGED = Trouble(
    "The book is damaged",
    "Part of its database can’t be read. Nothing more is written. Stop Laybook and start it "
    "again: it will name the last good backup.",
)
TROUBLES: dict[str, Trouble] = {
    "busy": BUSY,
    "full": Trouble(
        "The disk is full",
        "Nothing of this page was kept yet. Everything in the book can still be read. "
        "Make room on the disk, then try again.",
    ),
    "read_only": Trouble(
        "The book can only be read",
        "This program may not write in it just now. Nothing of this page was kept yet.",
    ),
    "damaged": DAMAGED,
    "away": Trouble(
        "The database can’t be reached",
        "The PostgreSQL server that keeps this book’s records doesn’t answer. Nothing of this "
        "page was kept yet; try again when the server runs.",
    ),
    "unknown": UNKNOWN,
}

# Carried along but not worth showing.
HIDDEN = {
    "token", "version", "do", "asked", "role", "blade_set", "place", "draft", "dial_scale",
    "dial_gauge", "calliper", "customer", "piece", "instrument", "seen_stage", "at_bench", "action",
    "photograph",
}  # fmt: skip


def find_trouble(error: Exception) -> Trouble:
    """Name the trouble behind a database error."""
    if isinstance(error, Outdated):
        return Trouble("The book is newer than this program", str(error))
    original = error.orig if isinstance(error, DBAPIError) else error
    return TROUBLES.get(name_trouble(original), BUSY)


def list_typed(form: Form) -> list[tuple[str, str]]:
    """List what was typed, to be read: a label and the words, cells of one rail on one line."""
    lines: dict[str, list[str]] = {}
    for name, values in form.lists.items():
        typed = [say_value(name, value) for value in values if value.strip()]
        if typed and name not in HIDDEN:
            lines.setdefault(label_field(name), []).extend(typed)
    return [(label, ", ".join(typed)) for label, typed in lines.items()]


def say_trouble(request: Request, status: int, trouble: Trouble, *, kept_at: str = "") -> Response:
    """Answer with the trouble in words; a posted form comes back to be sent again.

    `kept_at` is where a form of the same token led: then it goes as a new one.
    """
    if request.url.path.startswith("/api/"):
        return JSONResponse({"detail": trouble.words}, status_code=status)
    typed: Any = getattr(request.state, "typed", None)
    form = typed if isinstance(typed, Form) else Form()
    answer: HTMLResponse = show_page(
        request,
        "trouble.html",
        status=status,
        heading=trouble.heading,
        words=trouble.words,
        carried=[
            (name, value)
            for name, values in form.lists.items()
            for value in values
            if not (kept_at and name == "token")
        ],
        kept_at=kept_at,
        typed=list_typed(form),
        posted=request.method == "POST",
    )
    if status == 503:
        answer.headers["Retry-After"] = "5"
    return answer


def lead_on(_request: Request, error: Exception) -> Response:
    """Answer a form pressed twice with where it led."""
    return go_to(getattr(error, "location", "/"))


def say_conflict(request: Request, error: Exception) -> Response:
    """Show what somebody else changed meanwhile beside what was typed; nothing is lost.

    A page that has no address of its own to go back to names one in the request's `back`.
    """
    assert isinstance(error, Conflict)  # noqa: S101 - what it is registered for
    with request.app.state.sessions.read() as session:
        currency = get_shop(session).currency
        gauges = {str(gauge.id): gauge.label for gauge in load_register(session).values()}
        sets = {str(blade_set.id): blade_set.name for blade_set in list_blade_sets(session)}
    names = {
        **dict.fromkeys(("glass_id", "wedge_id", "bore_gauge_id"), gauges),
        "blade_set_id": sets,
    }
    rows = [
        (label_field(name), *(names.get(name, {}).get(said, say_value(name, said, currency))
                              for said in both))
        for name, both in error.changed.items()
        if name != "search_text"
    ]  # fmt: skip
    return show_page(
        request,
        "conflict.html",
        status=409,
        form=request.state.typed,
        rows=rows,
        version=error.version,
        back=getattr(request.state, "back", request.url.path),
    )


def say_sent_otherwise(request: Request, error: Exception) -> Response:
    """Answer a form whose token was taken with other content: both stay, the maker decides."""
    words = (
        "This form was kept once already, with other words than now. What was kept then stands; "
        "what you typed now is below and was not kept. Look at what was kept first; if this is "
        "another one, send it as new."
    )
    location = getattr(error, "location", "/")
    return say_trouble(request, 409, Trouble("This form was sent before", words), kept_at=location)


def say_unwritable(request: Request, error: Exception) -> Response:
    """Answer a database error: 503, what is wrong, and everything typed."""
    return say_trouble(request, 503, find_trouble(error))


def say_broken(request: Request, error: Exception) -> Response:  # noqa: ARG001 - no trace is shown
    """Answer an error of the program's own; outside the guard, so its headers are set here."""
    answer = say_trouble(request, 500, BROKEN)
    for name, value in {**HEADERS, "Cache-Control": "no-store"}.items():
        answer.headers[name] = value
    return answer
