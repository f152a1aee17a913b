"""Naming the database of a book: what is given at the start is held against what is noted."""

from pathlib import Path

from sqlalchemy import URL
from sqlalchemy.exc import SQLAlchemyError

from app.store.engines import check_settings, make_folder, open_address
from app.store.postgresql.addresses import (
    DATABASE_NAME,
    NOTE_NAME,
    find_address,
    is_same,
    keep_address,
    say_address,
)
from app.store.problems import BookProblem


def join_database(book: Path, given: URL | None) -> None:
    """Note where a book's records lie, as given; raises BookProblem if they lie elsewhere.

    A folder without records of its own takes the database for its own once that answers and suits;
    a book that lies elsewhere is never left for an empty one: it is moved.
    """
    noted = find_address(book)
    if noted and given and is_same(noted, given):
        return
    if noted:
        there = say_address(given) if given else "its folder"
        raise BookProblem(
            f"The records of the book in {book} lie in {say_address(noted)}, not in {there}: so "
            f"says {NOTE_NAME} in its folder. To move them: laybook move. If they were taken "
            f"there by other means, delete {NOTE_NAME} first. Nothing has been changed."
        )
    if given is None:
        return
    if (book / DATABASE_NAME).exists():
        raise BookProblem(
            f"The records of the book in {book} lie in its folder. Move them first: "
            f"laybook move --book {book} --to ADDRESS. Nothing has been changed."
        )
    engine = open_address(given)
    try:
        check_settings(engine)
    except SQLAlchemyError as error:
        said = getattr(error, "orig", None) or error
        raise BookProblem(f"{say_address(given)} can't be opened: {said}") from error
    finally:
        engine.dispose()
    make_folder(book)
    keep_address(book, given)
