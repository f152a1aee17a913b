"""The gate of a book that listens on the network: nothing behind it is answered without a login.

It stands inside the guard and before every route, so a route can't be forgotten. A form that is
sent after the login ran out is not lost: it goes along with the login page and comes back to be
sent. Guesses are slowed down for each address and for the network as a whole.
"""

import math
import threading
from collections.abc import Callable
from datetime import datetime, timedelta

from fastapi.responses import JSONResponse, RedirectResponse, Response
from itsdangerous import BadSignature, URLSafeTimedSerializer
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from app.store.book.passphrase import Passphrase

OPEN_PATHS = ("/login", "/static/")
LOGIN_LASTS = timedelta(days=30)
GUESSES = 5
GUESSES_OF_ALL = 60
GUESS_WINDOW = timedelta(minutes=15)
LOOPBACK = ("127.0.0.1", "::1")


def cookie_name(port: int | None) -> str:
    """Name the cookie: browsers share cookies between the ports of one machine."""
    return f"laybook_{port or 80}"


def sign_cookie(passphrase: Passphrase) -> str:
    """Make what an open browser carries."""
    return str(URLSafeTimedSerializer(passphrase.key, salt="login").dumps("open"))


def is_open(request: Request, passphrase: Passphrase) -> bool:
    """Say whether this browser has logged in with the present passphrase."""
    cookie = request.cookies.get(cookie_name(request.url.port), "")
    try:
        URLSafeTimedSerializer(passphrase.key, salt="login").loads(
            cookie, max_age=int(LOGIN_LASTS.total_seconds())
        )
    except BadSignature:
        return False
    return True


class Throttle:
    """Counts wrong guesses: a few for each address, more for all of the network together.

    The machine's own browser is counted by itself, so that nobody on the network can lock it out.
    """

    def __init__(self) -> None:
        self._wrong: dict[str, list[datetime]] = {}
        self._lock = threading.Lock()

    def wait_s(self, address: str, now: datetime) -> int:
        """Say for how many seconds this address may not guess."""
        with self._lock:
            self._wrong = {
                one: [at for at in wrong if timedelta(0) <= now - at < GUESS_WINDOW]
                for one, wrong in self._wrong.items()
            }
            self._wrong = {one: wrong for one, wrong in self._wrong.items() if wrong}
            mine = self._wrong.get(address, [])
            everyone = sorted(
                at for one, wrong in self._wrong.items() if one not in LOOPBACK for at in wrong
            )
        waits = [0]
        if len(mine) >= GUESSES:
            waits.append(_until_free(mine, GUESSES, now))
        if address not in LOOPBACK and len(everyone) >= GUESSES_OF_ALL:
            waits.append(_until_free(everyone, GUESSES_OF_ALL, now))
        return max(waits)

    def note_wrong(self, address: str, now: datetime) -> None:
        """Count a wrong guess."""
        with self._lock:
            self._wrong.setdefault(address, []).append(now)

    def note_right(self, address: str) -> None:
        """Forget an address's wrong guesses."""
        with self._lock:
            self._wrong.pop(address, None)


def _until_free(wrong: list[datetime], most: int, now: datetime) -> int:
    return max(1, math.ceil((wrong[-most] + GUESS_WINDOW - now).total_seconds()))


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
        if passphrase is not None and is_open(request, passphrase):
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
        async with request.form(max_files=0, max_fields=400) as form:
            request.state.carried = [
                (name, value) for name, value in form.multi_items() if isinstance(value, str)
            ]
        return self._ask_again(request)
