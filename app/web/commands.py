"""The command line: `python -m app` serves this machine's book and opens the browser."""

import argparse
import os
import socket
import sys
import threading
import webbrowser
from collections.abc import Sequence
from pathlib import Path

import uvicorn
from platformdirs import user_data_path

from app.store.book import BookProblem
from app.web import upkeep
from app.web.app import create_app
from app.web.settings import Settings

DEFAULT_PORT = 8765


def default_book() -> Path:
    """Give the folder of this user's book: LAYBOOK_BOOK, or the user's data folder."""
    named = os.environ.get("LAYBOOK_BOOK")
    return Path(named) if named else user_data_path("laybook", appauthor=False)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb; gives the exit code."""
    options = _parser().parse_args(arguments)
    options.book = (options.book or default_book()).absolute()
    try:
        return int(options.run(options))
    except BookProblem as problem:
        print(problem, file=sys.stderr)
        return 1


def _parser() -> argparse.ArgumentParser:
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument("--book", type=Path, metavar="FOLDER", help="the book's folder")
    serving = argparse.ArgumentParser(add_help=False, parents=[common])
    serving.add_argument("--port", type=int, help=f"port on this machine (usually {DEFAULT_PORT})")
    serving.add_argument("--no-browser", action="store_true", help="don't open the browser")
    parser = argparse.ArgumentParser(
        prog="laybook",
        parents=[serving],
        description="A workshop book for refacing, restoring and making woodwind mouthpieces.",
    )
    parser.set_defaults(run=serve)
    verbs = parser.add_subparsers(title="verbs", metavar="VERB")
    verb = verbs.add_parser("serve", parents=[serving], help="serve the book (the usual thing)")
    verb.set_defaults(run=serve)
    upkeep.add_verbs(verbs, common)
    return parser


def serve(options: argparse.Namespace) -> int:
    """Serve the book on this machine until stopped."""
    book = options.book
    app = create_app(Settings(book=book, daily_backups=True))
    if said := app.state.sessions.said:
        print(said)
    listener = listen(options.port)
    host, port = listener.getsockname()[:2]
    address = f"http://{host}:{port}/"
    print(f"Laybook is open at {address} (book: {book})", flush=True)
    if not options.no_browser:
        threading.Timer(0.3, webbrowser.open, [address]).start()
    server = uvicorn.Server(
        uvicorn.Config(app, log_level="warning", access_log=False, server_header=False)
    )
    server.run(sockets=[listener])
    return 0


def listen(port: int | None) -> socket.socket:
    """Open the port asked for, or the usual one, or any free one if that is taken."""
    for candidate in [DEFAULT_PORT, 0] if port is None else [port]:
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind(("127.0.0.1", candidate))
        except OSError:
            listener.close()
            continue
        listener.listen(128)
        return listener
    raise BookProblem(f"Port {port} is taken on this machine. Choose another with --port.")
