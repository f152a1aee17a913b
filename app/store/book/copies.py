"""The same records in another database: copied as their columns' types have them, then compared.

Both databases are at one schema. Records are read as of one moment and written in one transaction,
which is kept only if both say the same, by `content_hash`.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import URL, Connection, MetaData, Table, delete, update
from sqlalchemy.exc import DBAPIError

from app.packed import folder_of
from app.store.book.contents import (
    Row,
    content_hash,
    count_rows,
    is_content,
    late_columns,
    list_tables,
    read_rows,
    write_late,
    write_rows,
)
from app.store.book.migrating import migrate_book, schema_of
from app.store.engines import engine_kind, let_go, open_address, open_engine
from app.store.problems import BookProblem
from app.store.records.search import rebuild_index
from app.store.sqlite_files import settle_file


def find_tables(connection: Connection) -> MetaData:
    """Describe the tables as they stand in a database, which may be of an earlier schema."""
    metadata = MetaData()
    metadata.reflect(connection, only=lambda name, _: is_content(name))
    return metadata


def hash_records(connection: Connection) -> str:
    """Hash every record of a database, also those of what is being typed."""
    return content_hash(connection, None, metadata=find_tables(connection), passing=True).whole


def count_records(connection: Connection) -> dict[str, int]:
    """Count the rows of every table."""
    tables = list_tables(find_tables(connection), passing=True)
    return {table.name: count_rows(connection, table) for table in tables}


def is_empty(connection: Connection) -> bool:
    """Say whether a database holds no record."""
    return not any(count_records(connection).values())


def copy_records(source: Connection, target: Connection) -> None:
    """Copy every record into a database that holds none; raises BookProblem if they then differ."""
    present, wanted = find_tables(source), find_tables(target)
    tables = list_tables(wanted, passing=True)
    late = {}
    for table in tables:
        names = [column.name for column in table.columns]
        rows = _in_order(
            read_rows(source, present.tables[table.name]), present.tables[table.name], names
        )
        late[table] = write_rows(target, table, rows)
    for table in tables:
        write_late(target, table, late[table])
    engine_kind(target).count_on(target, tables)
    rebuild_index(target)
    if hash_records(source) != hash_records(target):
        raise BookProblem("The records did not arrive as they were. Nothing has been changed.")


def _in_order(rows: Iterator[Row], table: Table, names: Sequence[str]) -> Iterator[Row]:
    """Put each row's values in the order of another database's columns."""
    places = [list(table.columns.keys()).index(name) for name in names]
    return (tuple(row[at] for at in places) for row in rows)


def remove_records(connection: Connection) -> None:
    """Remove every record, in an order in which references hold."""
    tables = list_tables(find_tables(connection), passing=True)
    for table in tables:
        if names := late_columns(table):
            connection.execute(update(table).values(dict.fromkeys(names)))
    for table in reversed(tables):
        connection.execute(delete(table))


@contextmanager
def still(address: URL) -> Iterator[Connection]:
    """Open a server's database as it stands at this moment, for looking only."""
    with let_go(open_address(address)) as engine:
        kind = engine_kind(engine)
        reading = engine.execution_options(**kind.reading)
        with reading.connect() as connection, connection.begin():
            kind.take_time(connection)
            yield connection


def copy_to_file(source: Connection, target: Path) -> list[str]:
    """Write a server's records into a new SQLite database of the same schema; gives its damage."""
    schema = schema_of(source)
    if schema is None:
        raise BookProblem("There is no book in that database.")
    with let_go(open_engine(target.parent, target.name)) as engine:
        migrate_book(engine, folder_of("migrations"), schema)
        with engine.execution_options(writes=True).begin() as connection:
            copy_records(source, connection)
    return settle_file(target)


def find_faults_on_server(address: URL) -> list[str]:
    """Read every record and ask for every reference; gives what is wrong in words."""
    try:
        with still(address) as connection:
            hash_records(connection)
            return engine_kind(connection).find_faults(connection)
    except DBAPIError as error:
        return [f"the database can't be read: {error.orig}"]
