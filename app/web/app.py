"""Puts the application together: book, guard, pages. No module holds state of its own."""

import mimetypes
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress

from anyio import CapacityLimiter, to_thread
from fastapi import FastAPI, HTTPException, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from starlette.exceptions import HTTPException as StarletteHTTPException
from starlette.middleware.gzip import DEFAULT_EXCLUDED_CONTENT_TYPES, GZipMiddleware

from app.packed import folder_of
from app.store.book.locks import Outdated
from app.store.book.opening import open_sessions
from app.store.book.passphrase import read_passphrase
from app.store.book.sessions import Sessions
from app.store.book.upkeep import is_book, keep_upkeep, read_upkeep
from app.store.engines import BeyondNumbers
from app.store.records.revisions import Conflict
from app.store.records.search import tidy_index
from app.store.records.shop import get_shop, has_shop, start_book
from app.web import first_start, logins
from app.web.compare import comparisons
from app.web.facing import drafts, measurements, pictures, service
from app.web.gate import Gate, Throttle
from app.web.gauges import blade_sets, gauges, studies
from app.web.guard import Guard
from app.web.jobs import (
    batches,
    bench,
    charges,
    drop_offs,
    jobs,
    joinings,
    labels,
    memos,
    messages,
    photos,
    pieces,
    services,
    sheets,
    slips,
    works,
)
from app.web.pages import SentOtherwise, TakenBefore, fingerprint, show_page
from app.web.plan import facings, plans, removal_rates, service_plan, targets, what_if
from app.web.serving import MadeUpBeside
from app.web.settings import Settings
from app.web.shop import (
    backups,
    customers,
    erasure,
    exports,
    glance,
    help_pages,
    marks,
    notebooks,
    search,
    shop,
    stock,
)
from app.web.troubles import (
    lead_on,
    say_broken,
    say_conflict,
    say_sent_otherwise,
    say_unwritable,
)

ROUTERS = (
    bench.router,
    glance.router,
    drop_offs.router,
    first_start.router,
    search.router,
    customers.router,
    erasure.router,
    pieces.router,
    measurements.router,
    drafts.router,
    comparisons.router,
    jobs.router,
    works.router,
    joinings.router,
    charges.router,
    slips.router,
    sheets.router,
    labels.router,
    messages.router,
    memos.router,
    notebooks.router,
    photos.router,
    pictures.router,
    facings.router,
    batches.router,
    targets.router,
    what_if.router,
    plans.router,
    removal_rates.router,
    shop.router,
    marks.router,
    stock.router,
    services.router,
    backups.router,
    exports.router,
    studies.router,
    gauges.router,
    blade_sets.router,
    logins.router,
    help_pages.router,
    service.router,
    service_plan.router,
)

# Python runs one thread at a time: with more of them, whoever holds the write lock waits for all
# the others at every query, and everybody else for the lock.
HANDLERS_AT_ONCE = 8
# What is compressed within itself; a PDF is too.
NEVER_SMALLER = (*DEFAULT_EXCLUDED_CONTENT_TYPES, "application/pdf")


def open_book(settings: Settings) -> Sessions:
    """Open the book, bring it up to date, and start it if it is new; raises BookProblem."""
    sessions = open_sessions(settings.book, folder_of("migrations"), settings.now())
    with sessions.read() as session:
        begun = has_shop(session) and is_book(settings.book)
    if not begun:
        with sessions.write() as session:
            # Another bench may have begun it between the look and the lock.
            if not has_shop(session):
                start_book(session)
            if not is_book(settings.book):
                keep_upkeep(settings.book, read_upkeep(settings.book, settings.now()))
            session.commit()
    return sessions


def tidy(sessions: Sessions) -> None:
    """Tidy the look-up's index; if the book is busy, tomorrow will do."""
    with suppress(DBAPIError), sessions.write() as session:
        tidy_index(session.connection())
        session.commit()


def create_app(settings: Settings) -> FastAPI:
    """Make the application for one book."""
    watch = backups.Watch(settings, lambda: tidy(app.state.sessions))

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        to_thread.current_default_thread_limiter().total_tokens = HANDLERS_AT_ONCE
        watch.start()
        yield
        app.state.made_up_beside.close()
        watch.stop()
        app.state.exporting.stop()
        app.state.sessions.close()

    app = FastAPI(
        title="Laybook", docs_url=None, redoc_url=None, openapi_url=None, lifespan=lifespan
    )
    app.state.settings = settings
    app.state.sessions = open_book(settings)
    with app.state.sessions.read() as session:
        app.state.made_up = get_shop(session).begun_as == "made_up"
    app.state.made_up_beside = MadeUpBeside(create_app, settings)
    app.state.exporting = exports.Exporting(app.state.sessions, settings)
    app.state.watch = watch
    app.state.decoding = CapacityLimiter(1)  # photographs: one at a time, whoever sends them
    app.state.throttle, app.state.is_gated = Throttle(), settings.needs_login
    if settings.needs_login:
        app.add_middleware(
            Gate, find=lambda: read_passphrase(settings.book), ask_again=logins.ask_again
        )
    # Level 3 costs a page a tenth of a millisecond; 9 costs three times that for a tenth less.
    app.add_middleware(
        GZipMiddleware, minimum_size=1024, compresslevel=3, exclude_content_types=NEVER_SMALLER
    )
    app.add_middleware(Guard, hosts=settings.hosts)  # added last: outermost
    app.get("/static/{name}")(static_file)
    for router in ROUTERS:
        # One flat list: routers within routers take twice as long to look through, each time.
        app.router.routes.extend(router.routes)
    for kind, answer in ANSWERS.items():
        app.add_exception_handler(kind, answer)
    return app


def static_file(name: str, v: str = "") -> Response:
    """Serve a static file; browsers may keep it for ever under an address with its fingerprint."""
    static = folder_of("static")
    served = (*static.iterdir(), *static.glob("fonts/*.woff2"))
    path = next((file for file in served if file.name == name), None)
    if path is None or not path.is_file():
        raise HTTPException(404, "There is no such file.")
    is_lasting = v == fingerprint(path)
    keep = "public, max-age=31536000, immutable" if is_lasting else "no-cache"
    media_type = "font/woff2" if path.suffix == ".woff2" else mimetypes.guess_type(name)[0]
    return Response(path.read_bytes(), media_type=media_type, headers={"Cache-Control": keep})


def _wants_json(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def _say(request: Request, status: int, heading: str, words: str) -> Response:
    if _wants_json(request):
        return JSONResponse({"detail": words}, status_code=status)
    return show_page(request, "problem.html", status=status, heading=heading, words=words)


def _say_http(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, StarletteHTTPException) else 500
    detail = str(getattr(error, "detail", ""))
    if status == 404:
        words = detail if detail and detail != "Not Found" else "There is no such page."
        return _say(request, 404, "Not in this book", words)
    if status == 405:
        detail = "This address can’t be used in that way."
    return _say(request, status, "That can’t be done", detail)


def _say_invalid(request: Request, error: Exception) -> Response:
    if _wants_json(request) and isinstance(error, RequestValidationError):
        detail = [
            {"field": ".".join(str(part) for part in fault["loc"][1:]), "words": fault["msg"]}
            for fault in error.errors()
        ]
        return JSONResponse({"detail": detail}, status_code=422)
    return _say(request, 404, "Not in this book", "There is no such page.")


ANSWERS: dict[type[Exception], Callable[[Request, Exception], Response]] = {
    StarletteHTTPException: _say_http,
    RequestValidationError: _say_invalid,
    BeyondNumbers: _say_invalid,
    TakenBefore: lead_on,
    SentOtherwise: say_sent_otherwise,
    Conflict: say_conflict,
    DBAPIError: say_unwritable,
    PoolTimeout: say_unwritable,
    Outdated: say_unwritable,
    Exception: say_broken,
}
