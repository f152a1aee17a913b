"""The databases a book's records can lie in: one row each, with all that differs between them.

Everything else is the same SQL through SQLAlchemy. A row tells how a connection is set up, how a
transaction begins, what is checked at the start, how tables are rebuilt, and what an error means.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, Table, create_engine, event

from app.store import on_sqlite
from app.store.files import keep_private, say_disk
from app.store.postgresql import server as on_postgresql
from app.store.postgresql.addresses import DATABASE_NAME, find_address
from app.store.problems import BookProblem


@dataclass(frozen=True, slots=True)
class EngineKind:
    """What differs from one database to another."""

    label: str
    options: Mapping[str, Any]  # of SQLAlchemy's engine
    prepare: Callable[[Any], None]
    begin: Callable[..., None]
    check_settings: Callable[[Engine], None]
    rebuilding: Callable[[Connection], AbstractContextManager[None]]
    list_triggers: Callable[[Connection], set[str]]
    find_faults: Callable[[Connection], list[str]]
    name_trouble: Callable[[BaseException | None], str]
    is_beyond: Callable[[BaseException], bool]
    count_on: Callable[[Connection, Sequence[Table]], None]  # ids go on behind those copied
    take_time: Callable[[Connection], None]  # in a transaction over the whole book
    write_anew: Callable[[Engine], bool]  # nothing removed stays in the files
    reading: Mapping[str, Any] = field(default_factory=dict)  # of sessions that only look
    far: bool = False  # even closing a session may wait for it
    has_lines: bool = False  # records are found by lines that the program writes
    make_index: Callable[[Engine], str] = lambda _engine: ""
    count_act: Callable[[Connection], int] = lambda _connection: 0  # in a transaction that writes


ENGINES: dict[str, EngineKind] = {
    "sqlite": EngineKind(
        label="SQLite",
        options=on_sqlite.OPTIONS,
        prepare=on_sqlite.prepare,
        begin=on_sqlite.begin,
        check_settings=on_sqlite.check_settings,
        rebuilding=on_sqlite.rebuilding,
        list_triggers=on_sqlite.list_triggers,
        find_faults=on_sqlite.find_faults,
        name_trouble=on_sqlite.name_trouble,
        is_beyond=on_sqlite.is_beyond,
        count_on=lambda _connection, _tables: None,
        take_time=lambda _connection: None,
        write_anew=on_sqlite.write_anew,
        has_lines=True,
        count_act=on_sqlite.count_act,
    ),
    "postgresql": EngineKind(
        label="PostgreSQL",
        options=on_postgresql.OPTIONS,
        prepare=on_postgresql.prepare,
        begin=on_postgresql.begin,
        check_settings=on_postgresql.check_settings,
        rebuilding=on_postgresql.rebuilding,
        list_triggers=on_postgresql.list_triggers,
        find_faults=on_postgresql.find_faults,
        name_trouble=on_postgresql.name_trouble,
        is_beyond=on_postgresql.is_beyond,
        count_on=on_postgresql.count_on,
        take_time=on_postgresql.take_time,
        write_anew=on_postgresql.write_anew,
        reading=on_postgresql.READING,
        far=True,
        make_index=on_postgresql.make_trigrams,
    ),
}


class BeyondNumbers(Exception):  # noqa: N818 - nobody erred but who asked
    """A number was asked for that no record can have: larger than the database can count."""


def engine_kind(bind: Engine | Connection) -> EngineKind:
    """The row of a database that is open."""
    return ENGINES[bind.dialect.name]


def open_engine(folder: Path, name: str = DATABASE_NAME) -> Engine:
    """Open the database in a folder (made on first use) with the settings that keep it whole."""
    make_folder(folder)
    keep_private(folder / name)
    return open_address(URL.create("sqlite", database=str(folder / name)))


def open_book_engine(book: Path) -> Engine:
    """Open a book's database, wherever its records lie."""
    address = find_address(book)
    return open_address(address) if address else open_engine(book)


def open_address(address: URL, **options: Any) -> Engine:
    """Open the database at an address; raises BookProblem if its driver is not installed."""
    kind = ENGINES[address.get_backend_name()]
    try:
        engine = create_engine(address, **{**kind.options, **options})
    except ModuleNotFoundError as error:
        raise BookProblem(
            "PostgreSQL needs its driver, which is not installed. In Laybook's folder: "
            ".venv/bin/pip install 'psycopg[binary]>=3.2'"
        ) from error
    event.listen(engine, "connect", lambda connection, _record: kind.prepare(connection))
    event.listen(engine, "begin", lambda connection: _begin(kind, connection))
    event.listen(engine, "handle_error", lambda context: _on_error(kind, context))
    return engine


def _begin(kind: EngineKind, connection: Connection) -> None:
    kind.begin(connection, writes=connection.get_execution_options().get("writes", False))


def _on_error(kind: EngineKind, context: Any) -> None:
    if kind.is_beyond(context.original_exception):
        raise BeyondNumbers from context.original_exception


@contextmanager
def let_go(engine: Engine) -> Iterator[Engine]:
    """An engine that is opened for one thing, and closed after it."""
    try:
        yield engine
    finally:
        engine.dispose()


def check_settings(engine: Engine) -> None:
    """Read the settings back; raise BookProblem if the database did not take one."""
    engine_kind(engine).check_settings(engine)


def name_trouble(error: BaseException | None) -> str:
    """Name what a driver's error means, as a key of the web's `TROUBLES`; empty if it is none."""
    named = (kind.name_trouble(error) for kind in ENGINES.values())
    return next((name for name in named if name), "")


def make_folder(folder: Path) -> None:
    """Make the book's folder; raises BookProblem."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)  # its owner's alone
    except OSError as error:
        raise BookProblem(
            f"The book's folder {folder} can't be made: {say_disk(error)}."
        ) from error
