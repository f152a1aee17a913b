"""A thousand silent connections leave the shop's own browser working, and the log small."""

import resource
import socket
import threading
import time
from contextlib import ExitStack

import pytest

from tests.faults.servers import Server

pytestmark = pytest.mark.long

MANY = 1000
HALF = b"POST /jobs/1/notes HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 90\r\n\r\nnote="


@pytest.fixture
def enough_files():
    """Let this process open what it needs for its own ends."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if hard != resource.RLIM_INFINITY and hard < 2 * MANY:
        pytest.skip(f"only {hard} files may be open here")
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, 2 * MANY), hard))
    yield
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


@pytest.mark.parametrize(
    ("soft", "hard"),
    [(256, 256), (256, 4096), (1024, 1024)],
    ids=["few", "few, more to be had", "usual"],
)
@pytest.mark.usefixtures("enough_files")
def test_a_thousand_connections_leave_the_shop_s_browser_working(book, soft, hard):
    limit = lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))  # noqa: E731
    said: list[str] = []
    with Server(book, before_start=limit) as server, ExitStack() as stack:
        stderr = server.process.stderr
        assert stderr is not None
        listening = threading.Thread(target=lambda: said.extend(stderr), daemon=True)
        listening.start()
        waits = []
        for at in range(MANY):
            link = stack.enter_context(socket.create_connection(("127.0.0.1", server.port), 30))
            if at % 2:
                link.sendall(HALF)
            if at % 100 == 99:
                began = time.monotonic()
                assert server.get("/help", timeout=15).status == 200
                assert server.post("/jobs/999/notes", {"note": "x"}, timeout=15).status == 404
                waits.append(time.monotonic() - began)
        server.process.terminate()
        server.process.wait(60)
        listening.join(10)
    print(f"longest wait for a page and a form: {max(waits):.2f} s")
    assert max(waits) < 10
    assert len("".join(said)) < 2000, said[:20]
