"""Asks an application for a page as a server would, without a socket in between.

The whole application answers: guard, routing, sessions, templates, threads. Only the network and
the HTTP parser are left out, which are the same for every page and would hide differences.
"""

import asyncio
from dataclasses import dataclass, field
from urllib.parse import urlencode

from fastapi import FastAPI


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes


@dataclass(slots=True)
class Asker:
    """Holds one event loop, so that nothing is set up anew for each request."""

    loop: asyncio.AbstractEventLoop = field(default_factory=asyncio.new_event_loop)

    def get(self, app: FastAPI, address: str, **headers: str) -> Answer:
        """Ask for a page; anything but 200 or 304 raises RuntimeError."""
        return self._checked(app, "GET", address, b"", headers)

    def post(self, app: FastAPI, address: str, form: dict[str, str]) -> Answer:
        """Send a form."""
        headers = {"content-type": "application/x-www-form-urlencoded"}
        return self._checked(app, "POST", address, urlencode(form).encode(), headers)

    def _checked(
        self, app: FastAPI, method: str, address: str, body: bytes, headers: dict[str, str]
    ) -> Answer:
        answer = self.loop.run_until_complete(_ask(app, method, address, body, headers))
        if answer.status not in {200, 303, 304}:
            raise RuntimeError(f"{method} {address} was answered {answer.status}")
        return answer

    def close(self) -> None:
        """Let the loop go."""
        self.loop.close()


async def _ask(
    app: FastAPI, method: str, address: str, body: bytes, headers: dict[str, str]
) -> Answer:
    path, _, query = address.partition("?")
    told = {"host": "127.0.0.1", "content-length": str(len(body)), **headers}
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method,
        "scheme": "http", "path": path, "raw_path": path.encode(), "root_path": "",
        "query_string": query.encode(), "client": ("127.0.0.1", 50000), "state": {},
        "server": ("127.0.0.1", 80),
        "headers": [
            (name.replace("_", "-").encode(), value.encode()) for name, value in told.items()
        ],
    }  # fmt: skip
    sent: list[dict] = []
    given = False
    answered = asyncio.Event()

    async def receive() -> dict:
        nonlocal given
        if given:
            await answered.wait()
            return {"type": "http.disconnect"}
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: dict) -> None:
        sent.append(message)
        if message["type"] == "http.response.body" and not message.get("more_body"):
            answered.set()

    await app(scope, receive, send)
    return Answer(
        sent[0]["status"],
        {name.decode(): value.decode() for name, value in sent[0]["headers"]},
        b"".join(message.get("body", b"") for message in sent[1:]),
    )
