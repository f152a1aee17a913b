"""PostgreSQL: a server that several benches share; again one writes at a time, any number read.

Writers stand in one line: each begins with the database's own lock for them, held until its commit
(`pg_advisory_xact_lock`), then reads and writes in READ COMMITTED. Whoever holds the lock reads
what the one before committed, so numbers, tokens and versions are judged as under SQLite's BEGIN
IMMEDIATE; SERIALIZABLE would instead fail some acts at their commit, to be tried again. One bench
writes a few times a minute, so the line is short. Readers see one moment throughout a page
(REPEATABLE READ, read only) and wait for nobody.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, Table, func, inspect, select, text
from sqlalchemy.exc import DBAPIError

from app.store.problems import BookProblem

LOCK_TIMEOUT_MS = 8000
STATEMENT_TIMEOUT_MS = 30_000
IDLE_TIMEOUT_MS = 60_000  # a bench that fell silent in the middle of an act must not hold the line
LEAST_VERSION = 13  # from then on a database's owner may add the trigram index

# Advisory locks count within one database; the first number keeps ours apart from others'.
OURS = 0x4C42
WRITING, OPEN = 1, 2

OPTIONS: dict[str, Any] = {
    # One more than the server's threads; idle ones beyond five are given back.
    "pool_size": 5,
    "max_overflow": 40,
    # A server that was started anew is found by asking before each use.
    "pool_pre_ping": True,
    "connect_args": {
        "connect_timeout": 5,
        "application_name": "laybook",
        "keepalives_idle": 30,
        "keepalives_interval": 10,
        "keepalives_count": 3,
    },
}
READING = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
# Set on every connection, and read back at the start with what the server alone can set.
SETTINGS = {
    "lock_timeout": str(LOCK_TIMEOUT_MS),
    "statement_timeout": str(STATEMENT_TIMEOUT_MS),
    "idle_in_transaction_session_timeout": str(IDLE_TIMEOUT_MS),
    "synchronous_commit": "on",
    "tcp_keepalives_idle": "30",
    "timezone": "UTC",
}
NEEDED = {
    "fsync": "on",
    "full_page_writes": "on",
    "server_encoding": "UTF8",
    "synchronous_commit": "on",
    "default_transaction_read_only": "off",
}
# By SQLSTATE; two letters stand for their class.
TROUBLES = {
    "55P03": "busy",  # lock not available
    "57014": "busy",  # cancelled by a timeout
    "25P03": "busy",  # idle for too long
    "40001": "busy",
    "40P01": "busy",
    "53300": "busy",  # too many connections
    "53100": "full",
    "25006": "read_only",
    "42501": "read_only",
    "XX001": "damaged",
    "XX002": "damaged",
    "57P": "away",  # shutting down, starting up
    "08": "away",
    "28": "away",  # not let in
    "3D": "away",  # no such database
}
# Sorted by code point, as SQLite sorts: by any language's rules these come in another order.
_WORDS = ["Z", "a", "a-", "aa", "z", "é"]


def prepare(connection: Any) -> None:
    """Set a new connection up."""
    asked = ", ".join("set_config(%s, %s, false)" for _ in SETTINGS)
    connection.autocommit = True  # or the settings would go with the first transaction undone
    connection.execute(f"SELECT {asked}", [part for pair in SETTINGS.items() for part in pair])
    connection.autocommit = False


def begin(connection: Connection, *, writes: bool) -> None:
    """Begin a transaction; one that writes waits in line for the writers' lock."""
    if writes:
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({OURS}, {WRITING})")


def check_settings(engine: Engine) -> None:
    """Read the settings back; raise BookProblem if the server or the database does not suit."""
    with engine.connect() as connection:
        version = int(connection.execute(text("SHOW server_version_num")).scalar_one()) // 10_000
        if version < LEAST_VERSION:
            raise BookProblem(
                f"The server is PostgreSQL {version}; {LEAST_VERSION} or newer is needed."
            )
        for name, wanted in NEEDED.items():
            setting = connection.execute(text(f"SHOW {name}")).scalar_one()
            if setting != wanted:
                raise BookProblem(
                    f"The server answers {name} = {setting} where {wanted} is needed to keep the "
                    "book whole. Nothing has been changed."
                )
        ordered = text("SELECT word FROM unnest(CAST(:words AS text[])) AS word ORDER BY word")
        if list(connection.execute(ordered, {"words": _WORDS[::-1]}).scalars()) != _WORDS:
            raise BookProblem(
                "That database sorts words by the rules of a language. Make one that doesn't: "
                "createdb --template=template0 --encoding=UTF8 --lc-collate=C "
                "--lc-ctype=C.UTF-8 NAME"
            )


@contextmanager
def rebuilding(connection: Connection) -> Iterator[None]:
    """Change tables in one writing transaction, for as long as it takes."""
    with connection.begin():
        take_time(connection)
        yield


def take_time(connection: Connection) -> None:
    """Let this transaction take as long as it needs: it copies or rebuilds a whole book."""
    connection.execute(text("SET LOCAL statement_timeout = 0"))
    connection.execute(text("SET LOCAL idle_in_transaction_session_timeout = 0"))


def count_on(connection: Connection, tables: Sequence[Table]) -> None:
    """Let new ids begin behind those that were copied; never before those given out already."""
    for table in tables:
        for column in table.primary_key:
            asked = text("SELECT pg_get_serial_sequence(:table, :column)")
            named = {"table": f'"{table.name}"', "column": column.name}
            if counter := connection.execute(asked, named).scalar_one():
                greatest = select(func.coalesce(func.max(column), 0) + 1).scalar_subquery()
                given = text(f"(SELECT last_value + is_called::int FROM {counter})")  # noqa: S608
                connection.execute(
                    select(func.setval(counter, func.greatest(greatest, given), False))
                )


def list_triggers(_connection: Connection) -> set[str]:
    """Name the triggers: there are none here."""
    return set()


def find_faults(connection: Connection) -> list[str]:
    """Say what a migration would leave broken: references that PostgreSQL does not vouch for."""
    unheld = text("SELECT conname FROM pg_constraint WHERE contype = 'f' AND NOT convalidated")
    return [f"the reference {name} would not hold" for name in connection.execute(unheld).scalars()]


def write_anew(engine: Engine) -> bool:
    """Write every table anew, so that no row that was removed stays in the database's files.

    What the server keeps to recover from a crash goes with its next checkpoints; what it archives
    is its keeper's.
    """
    apart = engine.execution_options(isolation_level="AUTOCOMMIT")
    try:
        with apart.connect() as connection:
            connection.execute(text("SET statement_timeout = 0"))
            try:
                for name in inspect(connection).get_table_names():
                    connection.execute(text(f'VACUUM FULL "{name}"'))
            finally:
                connection.execute(text(f"SET statement_timeout = {STATEMENT_TIMEOUT_MS}"))
    except DBAPIError:
        return False
    return True


def name_trouble(error: BaseException | None) -> str:
    """Name the trouble behind the driver's error; empty if the error is none of the driver's."""
    if not type(error).__module__.startswith("psycopg"):
        return ""
    state = str(getattr(error, "sqlstate", None) or "")
    if not state:  # the connection could not be made, or broke off
        return "away"
    return next((TROUBLES[state[:n]] for n in (5, 3, 2) if state[:n] in TROUBLES), "unknown")


def is_beyond(error: BaseException) -> bool:
    """Say whether something was asked for that no record can have: a number too large, a NUL."""
    state = getattr(error, "sqlstate", None)
    return state in {"22003", "22021"} or (
        state is None and type(error).__name__ == "DataError" and "NUL" in str(error)
    )


def make_trigrams(engine: Engine) -> str:
    """Index the words that records are found by; says in words if the server can't.

    Without the index everything is found all the same, only slower in a large book.
    """
    wanted = ("customer", "piece")
    try:
        with engine.execution_options(writes=True).begin() as connection:
            there = set(
                connection.execute(
                    text("SELECT indexname FROM pg_indexes WHERE indexname LIKE 'trigram!_%' "
                         "ESCAPE '!' AND schemaname = current_schema()")
                ).scalars()
            )  # fmt: skip
            if missing := [noun for noun in wanted if f"trigram_{noun}" not in there]:
                take_time(connection)
                connection.execute(text("CREATE EXTENSION IF NOT EXISTS pg_trgm"))
                for noun in missing:
                    connection.execute(
                        text(f"CREATE INDEX trigram_{noun} ON {noun} "
                             "USING gin (search_text gin_trgm_ops)")
                    )  # fmt: skip
    except DBAPIError as error:
        if name_trouble(error.orig) in {"away", "busy"}:
            raise
        return (
            "Looking up is slower in a large book: the server has no pg_trgm (on Debian it comes "
            "with the package postgresql; its owner adds it with CREATE EXTENSION pg_trgm)."
        )
    return ""
