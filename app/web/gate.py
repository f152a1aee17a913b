"""The gate of a book that listens on the network: nothing behind it is answered without a login.

It stands inside the guard and before every route, so a route can't be forgotten. A form that is
sent after the login ran out is not lost: it goes along with the login page and comes back to be
sent. Guesses are slowed down for each address and for the network as a whole.
"""

import ipaddress
import math
import secrets
import threading
from collections.abc import Callable
from datetime import datetime, timedelta

from fastapi.responses import JSONResponse, RedirectResponse, Response
from itsdangerous import BadSignature, URLSafeTimedSerializer
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from app.store.book.passphrase import LOGIN_DAYS, Passphrase
from app.web.pages import MOST_FILE_BYTES, MOST_FILES, Form, as_text

OPEN_PATHS = ("/login", "/static/")
LOGIN_LASTS = timedelta(days=LOGIN_DAYS)
GUESSES = 5
GUESSES_OF_ALL = 60
GUESSES_KEPT = 2  # of each address, however many others guess
GUESS_WINDOW = timedelta(minutes=15)
LOOPBACK = ("127.0.0.1", "::1")


def cookie_name(port: int | None) -> str:
    """Name the cookie: browsers share cookies between the ports of one machine."""
    return f"laybook_{port or 80}"


def sign_cookie(passphrase: Passphrase) -> str:
    """Make what an open browser carries: a name of its own, so that a logout voids just it."""
    return str(_signer(passphrase).dumps(secrets.token_hex(12)))


def read_cookie(request: Request, passphrase: Passphrase) -> str:
    """Find the name of this browser's login; empty if it has none that counts."""
    cookie = request.cookies.get(cookie_name(request.url.port), "")
    try:
        name = _signer(passphrase).loads(cookie, max_age=int(LOGIN_LASTS.total_seconds()))
    except BadSignature:
        return ""
    return name if isinstance(name, str) and name not in passphrase.void else ""


def _signer(passphrase: Passphrase) -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(passphrase.key, salt="login")


class Throttle:
    """Counts guesses: a few for each address, more for all of the network together.

    A guess counts from before it is looked at, so that many at once are no more than one after
    the other; a right one is taken back with all before it. Whatever others do, each address keeps
    a few guesses of its own, and the machine's own browser is counted by itself. `hashing` is held
    while a guess is looked at: each takes 64 MB.
    """

    def __init__(self) -> None:
        self._guesses: dict[str, list[datetime]] = {}
        self._lock = threading.Lock()
        self.hashing = threading.Lock()

    def reserve(self, address: str, now: datetime) -> int:
        """Count a guess; or, where there may be none now, the seconds until there may."""
        name = _neighbourhood(address)
        with self._lock:
            recent = {
                whose: [at for at in guesses if timedelta(0) <= now - at < GUESS_WINDOW]
                for whose, guesses in self._guesses.items()
            }
            self._guesses = {whose: guesses for whose, guesses in recent.items() if guesses}
            mine = self._guesses.get(name, [])
            everyone = sorted(
                at
                for whose, guesses in self._guesses.items()
                if whose not in LOOPBACK
                for at in guesses
            )
            if len(mine) >= GUESSES:
                return _until_free(mine, GUESSES, now)
            crowded = name not in LOOPBACK and len(everyone) >= GUESSES_OF_ALL
            if crowded and len(mine) >= GUESSES_KEPT:
                return _until_free(everyone, GUESSES_OF_ALL, now)
            self._guesses.setdefault(name, []).append(now)
            return 0

    def note_right(self, address: str) -> None:
        """Forget an address's guesses."""
        with self._lock:
            self._guesses.pop(_neighbourhood(address), None)


def _neighbourhood(address: str) -> str:
    """Whom guesses are counted for: an address, or the /64 that one machine has of IPv6."""
    try:
        number = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if number.is_loopback or isinstance(number, ipaddress.IPv4Address):
        return str(number)
    return str(ipaddress.ip_network((int(number) >> 64 << 64, 64)))


def _until_free(guesses: list[datetime], most: int, now: datetime) -> int:
    return max(1, math.ceil((guesses[-most] + GUESS_WINDOW - now).total_seconds()))


class Gate:
    """Lets nobody pass without a login."""

    def __init__(
        self,
        app: ASGIApp,
        find: Callable[[], Passphrase | None],
        ask_again: Callable[[Request], Response],
    ) -> None:
        self.app, self._find, self._ask_again = app, find, ask_again

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or answer with the login page."""
        if scope["type"] != "http" or scope["path"].startswith(OPEN_PATHS):
            await self.app(scope, receive, send)
            return
        request = Request(scope, receive)
        passphrase = self._find()
        if passphrase is not None and read_cookie(request, passphrase):
            await self.app(scope, receive, send)
            return
        answer = await self._refuse(request)
        await answer(scope, receive, send)

    async def _refuse(self, request: Request) -> Response:
        if request.url.path.startswith("/api/"):
            return JSONResponse({"detail": "Log in first."}, status_code=401)
        if request.method in {"GET", "HEAD"}:
            return RedirectResponse("/login", status_code=303)
        if request.method != "POST":
            return JSONResponse({"detail": "Log in first."}, status_code=401)
        request.state.carried = await _carry(request)
        return self._ask_again(request)


async def _carry(request: Request) -> list[tuple[str, str]]:
    """List what was typed into a form that came too late, to go along with the login page.

    A small file of text comes along as its field's text, as the pages read it; photographs must be
    chosen again, and a form that can't be read at all carries nothing.
    """
    form = Form()
    try:
        async with request.form(max_files=MOST_FILES, max_fields=400) as data:
            for name, value in data.multi_items():
                text = value if isinstance(value, str) else as_text(await _start_of(value))
                if text:
                    form.add(name, text)
    except HTTPException:
        return []
    return [(name, value) for name, values in form.lists.items() for value in values]


async def _start_of(file: UploadFile) -> bytes:
    return await file.read(MOST_FILE_BYTES + 1)
