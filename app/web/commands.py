"""The command line: `python -m app` serves this machine's book and opens the browser.

A verb is a row of `VERBS`. Options that come before the verb hold after it too.
"""

import argparse
import os
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

from fastapi import FastAPI
from platformdirs import user_data_path

from app.store.book.joining import join_database
from app.store.book.passphrase import read_passphrase
from app.store.postgresql.addresses import EXAMPLE
from app.store.problems import BookProblem
from app.web import upkeep
from app.web.app import create_app
from app.web.carrying import add_export_options, add_import_options, bring_in, export
from app.web.databases import read_address
from app.web.serving import (
    DEFAULT_PORT,
    LOOPBACK,
    address_of,
    is_loopback,
    listen,
    make_made_up_app,
    make_server,
    own_names,
    stopping_in_order,
    throw_away_folder,
)
from app.web.settings import LOOPBACK_HOSTS, Settings, wall_clock


@dataclass(frozen=True, slots=True)
class Verb:
    """A verb of the command line; one that serves takes a port and may open the browser.

    `add_options` adds what only this verb takes; `run` gives the exit code.
    """

    name: str
    help: str
    run: Callable[[argparse.Namespace], int]
    serves: bool = False
    add_options: Callable[[argparse.ArgumentParser], None] | None = None


def default_book() -> Path:
    """The folder of this user's book: LAYBOOK_BOOK, or the user's data folder."""
    named = os.environ.get("LAYBOOK_BOOK")
    return Path(named) if named else user_data_path("laybook", appauthor=False)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb; gives the exit code."""
    options = make_parser().parse_args(arguments)
    try:
        if options.run is not demo:
            options.book = (options.book or default_book()).absolute()
            name_database(options)
        return int(options.run(options))
    except BookProblem as problem:
        print(problem, file=sys.stderr)
        return 1


def name_database(options: argparse.Namespace) -> None:
    """Take the book's database from --database or LAYBOOK_DATABASE; raises BookProblem."""
    if named := options.database or os.environ.get("LAYBOOK_DATABASE"):
        address = read_address(named)
        if options.run is not upkeep.move:  # which finds the book where it lies
            join_database(options.book, address)


def make_parser() -> argparse.ArgumentParser:
    """Make the parser from the table of verbs."""
    parser = argparse.ArgumentParser(
        prog="laybook",
        description="A workshop book for refacing, restoring and making woodwind mouthpieces.",
    )
    parser.set_defaults(run=serve, book=None, database=None)
    parser.set_defaults(port=None, no_browser=False, host=LOOPBACK)
    _add_host(parser)
    _add_book(parser)
    _add_serving(parser)
    verbs = parser.add_subparsers(title="verbs", metavar="VERB")
    for verb in VERBS:
        made = verbs.add_parser(verb.name, help=verb.help, description=verb.run.__doc__)
        made.set_defaults(run=verb.run)
        _add_book(made)
        if verb.serves:
            _add_serving(made)
        if verb.add_options:
            verb.add_options(made)
    common = argparse.ArgumentParser(add_help=False)
    _add_book(common)
    upkeep.add_verbs(verbs, common)
    return parser


# A default on the verb's own parser would undo what was said before the verb: there is none.
def _add_book(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--book",
        type=Path,
        metavar="FOLDER",
        default=argparse.SUPPRESS,
        help="the book's folder",
    )
    parser.add_argument(
        "--database",
        metavar="ADDRESS",
        default=argparse.SUPPRESS,
        help=f"where its records lie, if not in the folder: {EXAMPLE}",
    )


def _add_serving(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--port",
        type=int,
        metavar="N",
        default=argparse.SUPPRESS,
        help=f"port on this machine (usually {DEFAULT_PORT})",
    )
    parser.add_argument(
        "--no-browser",
        action="store_true",
        default=argparse.SUPPRESS,
        help="don't open the browser",
    )


def _add_host(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--host",
        metavar="ADDRESS",
        default=argparse.SUPPRESS,
        help="listen on the network too, such as 0.0.0.0; needs a passphrase",
    )


def serve(options: argparse.Namespace) -> int:
    """Serve the book on this machine until stopped."""
    on_network = not is_loopback(options.host)
    if on_network and read_passphrase(options.book) is None:
        raise BookProblem(
            "To listen on the network the book needs a passphrase. Set one first: "
            f"laybook passphrase --book {options.book}"
        )
    with stopping_in_order(), listen(options.port, options.host) as listener:
        app = create_app(
            Settings(
                book=options.book,
                now=wall_clock,
                daily_backups=True,
                hosts=(*LOOPBACK_HOSTS, *(own_names() if on_network else ())),
                needs_login=on_network,
            )
        )
        if on_network:
            print(
                "It is open to the network, to those who know the passphrase. Pages travel over "
                "plain http: whoever can listen on the network can read them."
            )
        if said := app.state.sessions.said:
            print(said)
        _serve(app, listener, options, f"Laybook ({options.book})")
    return 0


def demo(options: argparse.Namespace) -> int:
    """Serve a throw-away book filled with a made-up shop; --book FOLDER keeps it there."""
    kept: Path | None = options.book
    if options.database:
        raise BookProblem("The made-up shop lies in a folder, never on a server.")
    with (
        stopping_in_order(),
        listen(options.port) as listener,
        nullcontext(kept) if kept else throw_away_folder() as book,
    ):
        settings = Settings(book=book, now=wall_clock, throw_away=kept is None)
        app = make_made_up_app(create_app, settings)
        fate = f"kept in {kept}" if kept else "thrown away at the end"
        _serve(app, listener, options, f"A made-up shop ({fate})")
    return 0


def _serve(app: FastAPI, listener: socket.socket, options: argparse.Namespace, what: str) -> None:
    address = address_of(listener)
    print(f"{what} is open at {address}", flush=True)
    if not options.no_browser:
        threading.Timer(0.3, webbrowser.open, [address]).start()
    make_server(app).run(sockets=[listener])


VERBS: tuple[Verb, ...] = (
    Verb("serve", "serve the book (the usual thing)", serve, serves=True, add_options=_add_host),
    Verb("demo", "look around in a made-up shop, in a throw-away book", demo, serves=True),
    Verb("export", "write the whole book to one zip", export, add_options=add_export_options),
    Verb("import", "take an export into an empty book", bring_in, add_options=add_import_options),
)
