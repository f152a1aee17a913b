"""Serving on this machine: a port, a server that stops cleanly, and a made-up shop beside it."""

import gc
import ipaddress
import shutil
import signal
import socket
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from app.store.problems import BookProblem
from app.web.connections import PATIENCE_S, Connection, how_many_connections
from app.web.settings import Settings

DEFAULT_PORT = 8765
LOOPBACK = "127.0.0.1"


def is_loopback(host: str) -> bool:
    """Say whether an address is reached from this machine only; a name is looked up."""
    try:
        ips = {info[4][0] for info in socket.getaddrinfo(host, None)}
    except OSError as error:
        raise BookProblem(f"“{host}” is no address of this machine.") from error
    return all(ipaddress.ip_address(str(ip).partition("%")[0]).is_loopback for ip in ips)


def listen(port: int | None, host: str = LOOPBACK) -> socket.socket:
    """Open the port asked for, or the usual one, or any free one if that is taken."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    for candidate in [DEFAULT_PORT, 0] if port is None else [port]:
        # Only where it sees TCP's number does asyncio send an answer at once (TCP_NODELAY); else
        # each one over a kept connection waits some 40 ms for the other side's acknowledgement.
        listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, candidate))
        except (OSError, OverflowError):
            listener.close()
            continue
        listener.listen(128)
        return listener
    raise BookProblem(f"Port {port} can't be had on this machine. Choose another with --port.")


def address_of(listener: socket.socket) -> str:
    """The address a browser on this machine opens."""
    host, port = listener.getsockname()[:2]
    if host in {"0.0.0.0", "::"}:  # noqa: S104 - read, not bound, here
        host = own_address(host) or LOOPBACK
    return f"http://{f'[{host}]' if ':' in host else host}:{port}/"


def own_address(everywhere: str) -> str:
    """Find the address by which the network reaches this machine; nothing is sent for it."""
    family, far = (
        (socket.AF_INET6, "2001:db8::1") if ":" in everywhere else (socket.AF_INET, "192.0.2.1")
    )
    with socket.socket(family, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect((far, 9))
            return str(asking.getsockname()[0])
        except OSError:
            return ""


def own_names() -> tuple[str, ...]:
    """List the names by which the network may call this machine."""
    name = socket.gethostname().lower()
    return (name, f"{name.partition('.')[0]}.local")


def make_server(app: FastAPI) -> uvicorn.Server:
    """Make the server; it says nothing of its own but warnings."""
    # What is loaded by now stays: looking through it for garbage would hold a page up, now and then
    # for a tenth of a second.
    gc.freeze()
    Connection.most = how_many_connections()
    return uvicorn.Server(
        uvicorn.Config(
            app,
            http=Connection,
            timeout_keep_alive=int(PATIENCE_S),
            # As many are taken at once, before any can be closed: with the others never all files.
            backlog=Connection.most // 2,
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=False,  # nobody may say in a header who they are
        )
    )


@contextmanager
def served(app: FastAPI, host: str = LOOPBACK) -> Iterator[str]:
    """Serve an application beside whatever else runs here, on a free port; gives its address."""
    server, listener = make_server(app), listen(0, host)
    thread = threading.Thread(target=server.run, args=([listener],), daemon=True)
    thread.start()
    try:
        yield address_of(listener)
    finally:
        server.should_exit = True
        thread.join(timeout=10)


@contextmanager
def stopping_in_order() -> Iterator[None]:
    """Let a stop asked for from outside (terminate, terminal closed) leave every block in order.

    Without this the process would end where it stands, and a throw-away book would stay behind.
    """

    def leave(_signal: int, _frame: object) -> None:
        sys.exit(0)

    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), leave) for name in names}
    try:
        yield
    except KeyboardInterrupt:
        sys.exit(0)
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


@contextmanager
def throw_away_folder() -> Iterator[Path]:
    """A folder for a book that nobody keeps; it is deleted at the end."""
    folder = Path(tempfile.mkdtemp(prefix="laybook-made-up-"))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def make_made_up_app(make_app: Callable[[Settings], FastAPI], settings: Settings) -> FastAPI:
    """Make an application on a new book and fill it with the made-up shop; raises BookProblem."""
    from app.web.demo.filling import fill_book  # only when it is asked for

    app = make_app(settings)
    try:
        with app.state.sessions.write() as session:
            fill_book(session, settings)
            session.commit()
    except BaseException:
        app.state.sessions.engine.dispose()
        raise
    app.state.made_up = True
    return app


class MadeUpBeside:
    """The made-up shop served beside the book: a port, a folder and a database of its own.

    Nothing typed in one can reach the other, and closing it deletes only its own folder.
    """

    def __init__(self, make_app: Callable[[Settings], FastAPI], settings: Settings) -> None:
        self._make_app, self._settings = make_app, settings
        self._lock = threading.Lock()
        self._opened = ExitStack()
        self.address = ""

    def open(self) -> str:
        """Start it, unless it is open already; gives its address."""
        with self._lock:
            if not self.address:
                self._start()
            return self.address

    def _start(self) -> None:
        with ExitStack() as stack:
            folder = stack.enter_context(throw_away_folder())
            settings = replace(self._settings, book=folder, throw_away=True)
            app = make_made_up_app(self._make_app, settings)
            self.address = stack.enter_context(served(app))
            self._opened = stack.pop_all()

    def close(self) -> None:
        """Stop it and delete its folder; nothing happens if it isn't open."""
        with self._lock:
            self._opened.close()
            self.address = ""
