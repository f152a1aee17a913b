"""The verbs that look after a book: backup, restore, check, migrate."""

import argparse
import sys
from contextlib import closing
from datetime import datetime
from getpass import getpass
from pathlib import Path
from typing import Any

from app.core.shop.backups import say_age
from app.packed import folder_of
from app.store.book.acts import forget_note
from app.store.book.backup import (
    BackupFailed,
    check_backup,
    describe_backup,
    list_backups,
    make_backup,
    size_of,
)
from app.store.book.backup_places import Unusable, prepare_folder
from app.store.book.copies import find_faults_on_server
from app.store.book.locks import BookLock
from app.store.book.opening import inspect_book, open_sessions
from app.store.book.passphrase import find_weakness, keep_passphrase
from app.store.book.restoring import find_backup, restore_backup
from app.store.book.transfer import move_book
from app.store.book.upkeep import forget_failure, note_failure, read_upkeep
from app.store.postgresql.addresses import (
    DATABASE_NAME,
    EXAMPLE,
    OWN_FILE,
    find_address,
    say_address,
)
from app.store.problems import BookProblem
from app.store.sqlite_files import find_damage, open_still
from app.web.databases import read_address
from app.web.settings import wall_clock


def add_verbs(verbs: Any, common: argparse.ArgumentParser) -> None:
    """Add the verbs to the command line."""
    verb = verbs.add_parser("backup", parents=[common], help="back the book up, or list backups")
    verb.add_argument("--list", action="store_true", help="list the backups instead")
    verb.add_argument("--into", type=Path, metavar="FOLDER", help="another folder, this once")
    verb.set_defaults(run=backup)
    verb = verbs.add_parser("restore", parents=[common], help="put a backup in the book's place")
    verb.add_argument("backup", help="its number, or its folder")
    verb.add_argument("--yes", action="store_true", help="don't ask first")
    verb.set_defaults(run=restore)
    verb = verbs.add_parser("check", parents=[common], help="check the book and its backups")
    verb.add_argument("--as-it-is", action="store_true", help="take the book without its lost log")
    verb.set_defaults(run=check)
    verb = verbs.add_parser(
        "passphrase",
        parents=[common],
        help="set the passphrase for opening the book on the network",
    )
    verb.set_defaults(run=passphrase)
    verb = verbs.add_parser(
        "move", parents=[common], help="move the book's records to PostgreSQL, or into its folder"
    )
    verb.add_argument(
        "--to", required=True, metavar="ADDRESS", help=f"{EXAMPLE}, or “{OWN_FILE}” for the folder"
    )
    verb.set_defaults(run=move)
    verb = verbs.add_parser("migrate", parents=[common], help="bring the book up to date")
    verb.set_defaults(run=migrate)


def _needs_book(book: Path) -> None:
    if not book.is_dir():
        raise BookProblem(f"There is no book in {book}.")


def backup(options: argparse.Namespace) -> int:
    """Back the book up, or list its backups."""
    book, now = options.book, wall_clock()
    _needs_book(book)
    upkeep = read_upkeep(book, now)
    if options.list:
        for kept in list_backups(book, upkeep):
            holds = size_of(kept)
            print(
                f"{describe_backup(kept)}, {say_age(kept.made_at, now)}: {holds['jobs']} jobs, "
                f"{holds['photos']} photos, {holds['mb']:.1f} MB, in {kept.folder}"
            )
        return 0
    into = options.into.absolute() if options.into else None
    try:
        if into:
            prepare_folder(into, book, upkeep)
        made = make_backup(book, upkeep, "by_hand", now, into=into)
    except (BackupFailed, Unusable) as failed:
        note_failure(book, f"{failed}.", now)
        raise BookProblem(f"No backup was made: {failed}. Those before it are whole.") from failed
    forget_failure(book)
    print(f"Backed up and read back: {describe_backup(made)}, in {made.folder}")
    return 0


def restore(options: argparse.Namespace) -> int:
    """Put a backup in the book's place, after keeping what it replaces."""
    book, now = options.book, wall_clock()
    chosen = find_backup(book, read_upkeep(book, now), options.backup)
    question = (
        f"Put backup {describe_backup(chosen)} in the place of the book in {book}? "
        "What is there now is kept."
    )
    if not options.yes and not _agreed(question):
        print("Nothing was changed.")
        return 1
    done = restore_backup(book, chosen, folder_of("migrations"), now)
    print(f"Restored: {describe_backup(done.backup)}. {done.kept}")
    return 0


def _agreed(question: str) -> bool:
    if not sys.stdin.isatty():
        raise BookProblem(f"{question}\nAdd --yes to say that you mean it.")
    return input(f"{question} Write yes: ").strip().lower() == "yes"


def check(options: argparse.Namespace) -> int:
    """Check the book page by page, and read every backup back."""
    book, now = options.book, wall_clock()
    _needs_book(book)
    if options.as_it_is:
        forget_note(book)
    address = find_address(book)
    faults = find_faults_on_server(address) if address else _check_folder(book, now)
    print("The book is whole." if not faults else f"The book is damaged: {'; '.join(faults)}")
    bad = bool(faults)
    for kept in list_backups(book, read_upkeep(book, now)):
        damage = check_backup(kept)
        bad |= bool(damage)
        print(f"Backup {describe_backup(kept)}: {'; '.join(damage) if damage else 'good'}")
    return 1 if bad else 0


def _check_folder(book: Path, now: datetime) -> list[str]:
    lock = BookLock(book)
    try:
        alone = lock.take_alone()
        inspect_book(book, now, alone=alone, scripts=folder_of("migrations"))
        with closing(open_still(book / DATABASE_NAME)) as connection:
            return find_damage(connection)
    finally:
        lock.release()


def migrate(options: argparse.Namespace) -> int:
    """Bring the book to this program's schema."""
    _needs_book(options.book)
    sessions = open_sessions(options.book, folder_of("migrations"), wall_clock())
    print(sessions.said or "The book is up to date.")
    sessions.close()
    return 0


def move(options: argparse.Namespace) -> int:
    """Move the book's records to a PostgreSQL server, or back into the book's folder."""
    _needs_book(options.book)
    to = read_address(options.to)
    moved = move_book(options.book, to, folder_of("migrations"), wall_clock())
    print(f"Backed up first: {describe_backup(moved.backup)}.")
    where = say_address(to) if to else f"the folder {options.book}"
    print(f"The book's records lie in {where} now, compared to the last one. {moved.left}")
    return 0


def passphrase(options: argparse.Namespace) -> int:
    """Set the passphrase that opens the book on the network; one line each if not at a terminal."""
    _needs_book(options.book)
    asks = sys.stdin.isatty()
    words = getpass("New passphrase: ") if asks else sys.stdin.readline().rstrip("\n")
    if weakness := find_weakness(words):
        raise BookProblem(weakness)
    if asks and getpass("The same again: ") != words:
        raise BookProblem("The two are not the same. Nothing was changed.")
    keep_passphrase(options.book, words)
    print("The passphrase is kept. Every browser logs in anew with it.")
    return 0
