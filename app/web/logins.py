"""Logging in to a book on the network, and setting the passphrase for it."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.core.shop.shop import read_address
from app.core.values.forms import Fields
from app.render.codes import draw_code
from app.store.book.passphrase import (
    Passphrase,
    end_login,
    find_weakness,
    is_passphrase,
    keep_passphrase,
    read_passphrase,
)
from app.store.files import say_disk
from app.store.records.shop import get_shop, save_papers_address
from app.web.drawn import answer_picture
from app.web.gate import LOGIN_LASTS, Throttle, cookie_name, read_cookie, sign_cookie
from app.web.pages import Form, ReadOnly, SettingsDep, Typed, Writing, go_to, show_page
from app.web.serving import own_address
from app.web.settings import LOOPBACK_HOSTS
from app.web.troubles import list_typed

router = APIRouter()
AGAIN = "again_"


@router.get("/login")
def new(request: Request) -> HTMLResponse:
    """Show the login page."""
    return _page(request, Form(), [], "")


def ask_again(request: Request) -> HTMLResponse:
    """Show the login page with a form that was sent too late, to be sent after the login."""
    page = _page(request, Form(), request.state.carried, request.url.path)
    page.status_code = 401
    return page


def _page(
    request: Request, form: Form, carried: list[tuple[str, str]], action: str
) -> HTMLResponse:
    form.values.pop("passphrase", None)  # never sent back to be shown
    return show_page(request, "logins/new.html", form=form, carried=carried, action=action)


@router.post("/login")
def create(request: Request, form: Typed, settings: SettingsDep) -> Response:
    """Check the passphrase; then go on, or send the form that was sent too late."""
    carried = [
        (name.removeprefix(AGAIN), value)
        for name, values in form.lists.items()
        if name.startswith(AGAIN)
        for value in values
    ]
    action = _own_path(form.get("action"))
    throttle = request.app.state.throttle
    address = request.client.host if request.client else ""
    if wait_s := throttle.reserve(address, settings.now()):
        form.problems = {"passphrase": f"Too many wrong guesses. Wait {_say_wait(wait_s)}."}
        page = _page(request, form, carried, action)
        page.status_code = 429
        page.headers["Retry-After"] = str(wait_s)
        return page
    kept = read_passphrase(settings.book)
    if kept is None or not _is_right(throttle, kept, form.get("passphrase")):
        form.problems = {"passphrase": "That is not the passphrase of this book."}
        return _page(request, form, carried, action)
    throttle.note_right(address)
    return _let_in(request, kept, carried, action)


def _is_right(throttle: Throttle, kept: Passphrase, words: str) -> bool:
    with throttle.hashing:
        return is_passphrase(kept, words)


def _own_path(path: str) -> str:
    return path if path.startswith("/") and not path.startswith(("//", "/\\")) else ""


def _say_wait(wait_s: int) -> str:
    minutes = -(-wait_s // 60)
    return f"{minutes} minute{'s' if minutes != 1 else ''}"


def _let_in(
    request: Request, kept: Passphrase, carried: list[tuple[str, str]], action: str
) -> Response:
    answer: Response = go_to("/")
    if action:
        lists: dict[str, list[str]] = {}
        for name, value in carried:
            lists.setdefault(name, []).append(value)
        answer = show_page(
            request,
            "logins/again.html",
            carried=carried,
            action=action,
            typed=list_typed(Form(lists=lists)),
        )
    answer.set_cookie(
        cookie_name(request.url.port),
        sign_cookie(kept),
        max_age=int(LOGIN_LASTS.total_seconds()),
        httponly=True,
        samesite="strict",
    )
    return answer


@router.post("/logout")
def delete(request: Request, settings: SettingsDep) -> Response:
    """Log this browser out; its cookie is void from now on, wherever it was copied to."""
    kept = read_passphrase(settings.book)
    if kept is not None and (login := read_cookie(request, kept)):
        end_login(settings.book, kept, login, settings.today())
    answer = go_to("/login" if request.app.state.is_gated else "/")
    answer.delete_cookie(cookie_name(request.url.port), httponly=True, samesite="strict")
    return answer


@router.get("/settings/network")
def edit(request: Request, session: ReadOnly, settings: SettingsDep) -> HTMLResponse:
    """Lead to a telephone at the bench: a passphrase, a start on the network, a code to scan."""
    return _network_page(request, session, settings, Form())


def _network_page(
    request: Request, session: Session, settings: SettingsDep, form: Form
) -> HTMLResponse:
    typed = form.get("papers_address")
    form.values.clear()  # passphrases are never sent back to be shown
    return show_page(
        request,
        "logins/edit.html",
        form=form,
        has_passphrase=read_passphrase(settings.book) is not None,
        is_gated=request.app.state.is_gated,
        here=find_own_address(request),
        on_papers=get_shop(session).papers_address,
        typed=typed,
    )


def find_own_address(request: Request) -> str:
    """The address at which the network finds this book; empty where there is no network."""
    host = request.url.hostname or ""
    if f"[{host}]" in LOOPBACK_HOSTS or host in LOOPBACK_HOSTS:
        host = own_address("0.0.0.0")  # noqa: S104 - asked, not bound
    if not host:
        return ""
    port = f":{request.url.port}" if request.url.port else ""
    return f"{request.url.scheme}://{f'[{host}]' if ':' in host else host}{port}"


@router.get("/settings/network/code.svg")
def show_code(request: Request) -> Response:
    """Draw the code that leads a telephone to this book."""
    address = find_own_address(request)
    return answer_picture(request, address, lambda: draw_code(f"{address}/"))


@router.post("/settings/network/papers")
def update_papers(
    request: Request, session: Writing, form: Typed, settings: SettingsDep
) -> Response:
    """Keep the address that the codes on papers begin with."""
    fields = Fields(form.values)
    address = read_address(fields)
    if fields.problems:
        form.refuse(fields)
        return _network_page(request, session, settings, form)
    save_papers_address(session, address, settings.now())
    session.commit()
    return go_to("/settings/network?said=papers#papers")


@router.post("/settings/network")
def update(request: Request, session: ReadOnly, form: Typed, settings: SettingsDep) -> Response:
    """Set or change the passphrase; one that stands must be given first."""
    fields = Fields(form.values)
    kept, words = read_passphrase(settings.book), form.get("passphrase")
    throttle = request.app.state.throttle
    address = request.client.host if request.client else ""
    if kept is not None:
        if wait_s := throttle.reserve(address, settings.now()):
            fields.refuse("present", f"Too many wrong guesses. Wait {_say_wait(wait_s)}.")
        elif not _is_right(throttle, kept, form.get("present")):
            fields.refuse("present", "That is not the present passphrase.")
        else:
            throttle.note_right(address)
    if weakness := find_weakness(words):
        fields.refuse("passphrase", weakness)
    elif words != form.get("repeated"):
        fields.refuse("repeated", "The two are not the same.")
    if not fields.problems:
        try:
            keep_passphrase(settings.book, words)
        except OSError as error:
            fields.refuse("passphrase", f"It could not be kept: {say_disk(error)}.")
    if fields.problems:
        form.refuse(fields)
        return _network_page(request, session, settings, form)
    return go_to("/settings/network?said=kept")
