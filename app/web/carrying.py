"""The verbs that carry a whole book out to one file, and into an empty book."""

import argparse
from pathlib import Path

from app.core.values.forms import format_date, plural
from app.packed import folder_of
from app.store.book.exporting import export_book
from app.store.book.importing import import_book, inspect_export, refuse_filled
from app.store.book.opening import open_sessions
from app.store.files import PHOTOS_NAME
from app.store.problems import BookProblem
from app.web.app import open_book
from app.web.settings import Settings, wall_clock
from app.web.shop.exports import PROGRAM, name_export


def add_export_options(parser: argparse.ArgumentParser) -> None:
    """Add what only the export takes."""
    parser.add_argument("--to", type=Path, metavar="FILE", help="the file to write")


def add_import_options(parser: argparse.ArgumentParser) -> None:
    """Add what only the import takes."""
    parser.add_argument("file", type=Path, metavar="FILE", help="an export of a book")


def export(options: argparse.Namespace) -> int:
    """Write the whole book to one zip that can be read without this program."""
    settings = Settings(book=options.book, now=wall_clock)
    if not settings.book.is_dir():
        raise BookProblem(f"There is no book in {settings.book}.")
    target = (options.to or Path(name_export(settings))).absolute()
    sessions = open_sessions(settings.book, folder_of("migrations"), settings.now())
    try:
        with sessions.read() as session:
            made = export_book(
                session.connection(),
                settings.book / PHOTOS_NAME,
                target,
                program=PROGRAM,
                now=settings.now(),
            )
    finally:
        sessions.close()
    rows = sum(mark.rows or 0 for mark in made.files.values())
    print(
        f"Written and read back: {target} ({target.stat().st_size / 1e6:.1f} MB, "
        f"{plural(len(made.tables), 'table')}, {plural(rows, 'row')}, "
        f"{plural(len(made.files), 'file')}). It holds your customers' names and addresses: "
        "keep it as you keep the book."
    )
    return 0


def bring_in(options: argparse.Namespace) -> int:
    """Take an export into an empty book, equal in everything, or leave the book as it is."""
    settings, scripts = Settings(book=options.book, now=wall_clock), folder_of("migrations")
    path = options.file.absolute()
    inspect_export(path, scripts)  # before a new book is begun for it
    open_book(settings).close()
    refuse_filled(settings.book)
    done = import_book(settings.book, path, scripts, settings.now())
    print(
        f"Taken in, equal by every hash: {plural(done.jobs, 'job')}, "
        f"{plural(done.pieces, 'piece')}, {plural(done.photos, 'photograph')}, as of "
        f"{format_date(done.made_at)}. The passphrase and the backups' settings are not part of an "
        "export; set them anew."
    )
    return 0
