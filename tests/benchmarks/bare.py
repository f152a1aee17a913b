"""The other side: a bare ASGI application that sends bytes it was given, through our own server.

Whatever a page costs beyond that is ours: finding, working out, printing, compressing. Answers are
recorded from the real server as they went over the wire. `python -m tests.benchmarks.bare FILE`
serves a file of them in a process of its own, as the book is served.
"""

import http.client
import pickle
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from app.web.serving import address_of, listen, make_server
from tests.benchmarks.figure import BareFigure
from tests.faults.servers import Server


@dataclass(frozen=True, slots=True)
class Answer:
    """What went over the wire; a figure is drawn each time it is asked for."""

    status: int
    headers: list[tuple[bytes, bytes]]
    body: bytes | BareFigure


Answers = dict[str, Answer]  # by address; an address without its query stands for any


@dataclass(slots=True)
class Connection:
    """One kept connection to a server on this machine, asking as a browser does."""

    port: int
    kept: http.client.HTTPConnection = field(init=False)

    def __post_init__(self) -> None:
        """Open the connection."""
        self.kept = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)

    def ask(
        self, address: str, body: bytes | None = None, **headers: str
    ) -> http.client.HTTPResponse:
        """Ask for an address, or send a form to it; anything but 200 or 304 raises RuntimeError."""
        origin = f"http://127.0.0.1:{self.port}"
        told = {"Accept-Encoding": "gzip", "Origin": origin}
        told |= {name.replace("_", "-"): value for name, value in headers.items()}
        method = "GET" if body is None else "POST"
        self.kept.request(method, address, body, told)
        try:
            answer = self.kept.getresponse()
        except http.client.RemoteDisconnected:  # nothing was asked for a while
            self.kept.close()
            self.kept.request(method, address, body, told)
            answer = self.kept.getresponse()
        if answer.status not in {200, 304}:
            raise RuntimeError(f"{address} was answered {answer.status}")
        return answer

    def fetch(self, address: str, body: bytes | None = None, **headers: str) -> bytes:
        """Ask, and read the answer's bytes as they were sent."""
        with self.ask(address, body, **headers) as answer:
            return answer.read()

    def record(self, address: str, body: bytes | None = None, **headers: str) -> Answer:
        """Ask, and keep the whole answer for the bare application."""
        with self.ask(address, body, **headers) as answer:
            kept = [(name.lower().encode(), value.encode()) for name, value in answer.getheaders()]
            # The server itself adds the day.
            kept = [(name, value) for name, value in kept if name != b"date"]
            return Answer(answer.status, kept, answer.read())


@contextmanager
def connected(server: Server) -> Iterator[Connection]:
    """Keep one connection to a server."""
    made = Connection(server.port)
    with closing(made.kept):
        yield made


@contextmanager
def bare_server(answers: Answers) -> Iterator[Server]:
    """Serve recorded answers in a process of their own."""
    with tempfile.NamedTemporaryFile(suffix=".pickle") as file:
        file.write(pickle.dumps(answers))
        file.flush()
        program = [sys.executable, "-m", "tests.benchmarks.bare", file.name]
        with Server(Path(), program=program) as server:
            yield server


def make_bare_app(answers: Answers) -> Any:
    """Make the application: it looks the address up and sends what was recorded."""

    async def bare(scope: dict[str, Any], _receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            return
        query = scope["query_string"].decode()
        found = answers.get(f"{scope['path']}?{query}" if query else scope["path"])
        answer = found or answers[scope["path"]]
        body, headers = answer.body, answer.headers
        if isinstance(body, BareFigure):
            body = body.draw()
            headers = [*headers, (b"content-length", str(len(body)).encode())]
        await send({"type": "http.response.start", "status": answer.status, "headers": headers})
        await send({"type": "http.response.body", "body": body})

    return bare


def main() -> None:
    """Serve the file of answers named on the command line until stopped."""
    answers = pickle.loads(Path(sys.argv[1]).read_bytes())  # noqa: S301 - written just before
    with listen(0) as listener:
        print(f"A bare application is open at {address_of(listener)}", flush=True)
        make_server(make_bare_app(answers)).run(sockets=[listener])


if __name__ == "__main__":
    main()
