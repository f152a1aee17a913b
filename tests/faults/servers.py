"""Real servers to do harm to, and clients that press buttons and remember what they were told."""

import http.client
import os
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

STARTED = re.compile(r" is open at http://([0-9.]+):(\d+)/")


class DidNotStart(Exception):  # noqa: N818 - often what a test wants
    """The server ended instead of starting; the text is what it said."""


@dataclass
class Answer:
    """What a server answered."""

    status: int
    location: str
    text: str


class Server:
    """A server of its own process on a book, on a free port."""

    def __init__(
        self,
        book: Path,
        *,
        before_start: Callable[[], None] | None = None,
        program: list[str] | None = None,
        environment: dict[str, str] | None = None,
        more: list[str] | None = None,
    ) -> None:
        self.book = book
        self.process = subprocess.Popen(
            [*(program or [sys.executable, "-m", "app"]),
             "--book", str(book), "--port", "0", "--no-browser", *(more or [])],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            preexec_fn=before_start, env={**os.environ, **(environment or {})},
        )  # fmt: skip
        self.port = 0

    def wait(self, seconds: float = 60) -> "Server":
        """Wait until it listens; raises DidNotStart with its words if it ends instead."""
        end = time.monotonic() + seconds
        assert self.process.stdout is not None
        said = b""
        while time.monotonic() < end:
            if not select.select([self.process.stdout], [], [], 0.2)[0]:
                continue
            more = os.read(self.process.stdout.fileno(), 4096)
            said += more
            if found := STARTED.search(said.decode()):
                self.port = int(found.group(2))
                return self
            if not more:
                break
        ended = self.process.poll()
        self.process.kill()
        out, errors = self.process.communicate()
        raise DidNotStart(f"{said.decode()}{out}{errors}(ended with {ended})")

    def kill(self) -> None:
        """Kill it as a power switch would: no handler runs."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        self._close()

    def stop(self) -> None:
        """Ask it to end in order."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            self.process.wait(timeout=60)
        self._close()

    def _close(self) -> None:
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe:
                pipe.close()

    def __enter__(self) -> "Server":  # noqa: D105
        return self.wait()

    def __exit__(self, *_exception: object) -> None:  # noqa: D105
        self.stop()

    def get(self, path: str, timeout: float = 60) -> Answer:
        """Ask for a page."""
        return self._ask("GET", path, None, timeout)

    def post(self, path: str, fields: dict[str, str], timeout: float = 60) -> Answer:
        """Send a form; raises OSError or HTTPException if the server dies over it."""
        return self._ask("POST", path, urlencode(fields), timeout)

    def _ask(self, method: str, path: str, body: str | None, timeout: float) -> Answer:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=timeout)
        try:
            headers = {"Origin": f"http://127.0.0.1:{self.port}", "Sec-Fetch-Site": "same-origin"}
            if body is not None:
                headers["Content-Type"] = "application/x-www-form-urlencoded"
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            return Answer(answer.status, answer.getheader("location", ""), answer.read().decode())
        finally:
            connection.close()
