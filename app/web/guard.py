"""Stands before every route: who may ask, from where, and how much.

Pure ASGI, outermost, so that nothing runs for a request that is refused. A browser page of
another site must not reach the book: the Host must be ours (against DNS rebinding) and a POST's
Origin must be the very address it was sent to. On plain-http addresses other than loopback
browsers send no Sec-Fetch-Site, so the Origin check is the one that counts.
"""

import re
from collections.abc import Iterable

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.web.pages import templates

SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}
BODY_LIMIT = 1_000_000
# Photographs straight from a telephone, several at once; only these addresses take so much.
PHOTO_LIMIT = 64_000_000
PHOTO_ADDRESS = re.compile(r"/(jobs|pieces)/[0-9]{1,9}/photos")

CONTENT_SECURITY_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; "
    "connect-src 'self'; frame-src 'self'; manifest-src 'self'; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}

# What is refused, in words: the status, the heading, and what may help.
FOREIGN_NAME = (
    400,
    "This address is not this book’s",
    "Open the book at the address that Laybook printed when it started.",
)
FOREIGN_PAGE = (
    403,
    "Another page sent this",
    "A form came from outside this book, so it was refused and nothing was changed. If it was "
    "your own, open the book anew and send it from there.",
)
FOREIGN_WRITING = (
    415,
    "That form is written in signs this book can’t read",
    "Nothing was kept. Go back with the browser’s own button and send it again.",
)
# What a browser of today sends; any other way of writing letters is nobody's form.
CHARSETS = re.compile(r"""charset\s*=(?!\s*"?(?:utf-8|us-ascii|iso-8859-1)"?\s*(?:;|$))""", re.I)
LONGEST_HEADER = 300
FORM_TOO_LARGE = (
    413,
    "That is more than a form can hold",
    "Nothing was kept. Go back with the browser’s own button and shorten what you typed.",
)
PHOTOS_TOO_LARGE = (
    413,
    "These photographs are too large together",
    "None was kept. Go back with the browser’s own button and send fewer at once.",
)


class TooLarge(Exception):  # noqa: N818 - a refusal, answered with 413
    """The body is larger than any form of ours."""


class Guard:
    """Refuses foreign hosts, foreign origins and oversized bodies; adds the safety headers."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str]) -> None:
        self.app = app
        self.hosts = {host.lower() for host in hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a refusal at once, or pass the request on with its body counted."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        if refusal := self._refusal(scope, headers):
            await refusal(scope, receive, _with_headers(send))
            return
        try:
            await self.app(scope, _counted(receive, _limit_of(scope)), _with_headers(send))
        except ClientDisconnect:  # in the middle of a form: there is nobody to answer
            return
        except TooLarge:
            answer = _refuse(scope, *_say_too_large(scope))
            await answer(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        host = headers.get("host", "")
        if _without_port(host) not in self.hosts | _connected_to(scope):
            return _refuse(scope, *FOREIGN_NAME, way_in=False)
        site = headers.get("sec-fetch-site", "none")
        if scope["method"] in SAFE_METHODS:
            # Another site may lead a person here, but not have its page fetch anything.
            if site in {"cross-site", "same-site"} and headers.get("sec-fetch-mode") != "navigate":
                return _refuse(scope, *FOREIGN_PAGE)
            return None
        if site not in {"same-origin", "none"}:
            return _refuse(scope, *FOREIGN_PAGE)
        origin = headers.get("origin")
        if origin is not None and origin != f"{scope['scheme']}://{host}":
            return _refuse(scope, *FOREIGN_PAGE)
        written = headers.get("content-type", "")
        if len(written) > LONGEST_HEADER or CHARSETS.search(written):
            return _refuse(scope, *FOREIGN_WRITING)
        length = headers.get("content-length", "0")
        if not length.isdecimal() or len(length) > 12 or int(length) > _limit_of(scope):
            return _refuse(scope, *_say_too_large(scope))
        return None


def _refuse(
    scope: Scope, status: int, heading: str, words: str, *, way_in: bool = True
) -> Response:
    """Answer a refusal as a page of its own: no part of the book is opened for it."""
    if scope["path"].startswith("/api/"):
        return JSONResponse({"detail": words}, status_code=status)
    page = templates().get_template("refused.html")
    text = page.render(heading=heading, words=words, way_in=way_in)
    return HTMLResponse(text, status_code=status)


def _connected_to(scope: Scope) -> set[str]:
    """The number of this machine that the browser connected to; a name can't forge that."""
    address = str((scope.get("server") or ("",))[0]).removeprefix("::ffff:")
    return {f"[{address}]" if ":" in address else address}


def _without_port(host: str) -> str:
    host = host.lower()
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0]


def _limit_of(scope: Scope) -> int:
    return PHOTO_LIMIT if PHOTO_ADDRESS.fullmatch(scope["path"]) else BODY_LIMIT


def _say_too_large(scope: Scope) -> tuple[int, str, str]:
    return PHOTOS_TOO_LARGE if _limit_of(scope) == PHOTO_LIMIT else FORM_TOO_LARGE


def _counted(receive: Receive, limit: int) -> Receive:
    read = 0

    async def counted() -> Message:
        nonlocal read
        message = await receive()
        read += len(message.get("body", b""))
        if read > limit:
            raise TooLarge
        return message

    return counted


def _with_headers(send: Send) -> Send:
    async def with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Cache-Control", "no-store")
        await send(message)

    return with_headers
