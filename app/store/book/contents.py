"""What a book says, whatever database holds it: every table as rows of text, and back.

Tables come in an order in which references hold, rows by their keys, columns as declared, and each
value as a text that its column turns back into the same value; no value at all is None, which is
not the empty text. Rows are read and written as they come, so the largest book fits.

What belongs to the running program is not in it: the search indexes are made from the rest, and
`PASSING` tables hold only what is on its way in. Nothing here is of one database: the same content
has the same hash in each.
"""

import base64
import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache, lru_cache
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Connection,
    Date,
    DateTime,
    Float,
    ForeignKeyConstraint,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    bindparam,
    collate,
    func,
    insert,
    select,
    update,
)
from sqlalchemy.schema import sort_tables_and_constraints
from sqlalchemy.types import TypeEngine

from app.store.files import hash_file
from app.store.names import is_photo_file
from app.store.tables import Base, Moment

# What is being typed, and which forms were taken: of this program's day, not of the book.
PASSING = frozenset({"draft", "submission"})
# A facing may be copied from a reading set of a job that is aimed at a facing.
_CUT = {("facing", "source_set_id")}
ROWS_AT_ONCE = 1000
# The order of keys that are texts must not hang on the machine's language.
_BY_BYTES = {"sqlite": "BINARY", "postgresql": "C"}

Row = tuple[str | None, ...]


@dataclass(frozen=True, slots=True)
class ContentHash:
    """A SHA-256 of each table, of the photographs, and one of all of it."""

    tables: Mapping[str, str]
    photos: str
    whole: str


@dataclass(frozen=True, slots=True)
class LateReference:
    """A reference to a row that is written only later: which row, which column, and to what."""

    key: tuple[Any, ...]
    column: str
    value: Any


@dataclass(frozen=True, slots=True)
class _Kind:
    """How values of one kind of column are written as text and read from it."""

    write: Callable[[Any], str]
    read: Callable[[str], Any]


def _read_boolean(text: str) -> bool:
    if text not in {"true", "false"}:
        raise ValueError(f"{text!r} is neither true nor false")
    return text == "true"


def _read_moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} does not say its time zone")
    return moment.astimezone(UTC)


def _write_moment(value: datetime) -> str:
    return value.replace(tzinfo=value.tzinfo or UTC).astimezone(UTC).isoformat()


_KINDS: tuple[tuple[type[TypeEngine[Any]], str, _Kind], ...] = (
    (Boolean, "boolean", _Kind(lambda value: "true" if value else "false", _read_boolean)),
    (Integer, "integer", _Kind(lambda value: str(int(value)), int)),
    # A negative nought is a nought to one database and not to another.
    (Float, "number", _Kind(lambda value: repr(float(value) + 0.0), float)),
    (DateTime, "moment", _Kind(_write_moment, _read_moment)),
    (Date, "day", _Kind(lambda value: value.isoformat(), date.fromisoformat)),
    (JSON, "json", _Kind(lambda value: json.dumps(value, ensure_ascii=False), json.loads)),
    (
        LargeBinary,
        "bytes",
        _Kind(
            lambda value: base64.b64encode(value).decode(),
            lambda text: base64.b64decode(text, validate=True),
        ),
    ),
)
_TEXT = _Kind(str, str)


def _plain_type(column: Column[Any]) -> TypeEngine[Any]:
    return column.type.impl_instance if isinstance(column.type, Moment) else column.type


@lru_cache(4096)  # asked for every value
def kind_of(column: Column[Any]) -> str:
    """Name what a column's values are: integer, number, boolean, day, moment, json, bytes, text."""
    return next((name for of, name, _ in _KINDS if isinstance(_plain_type(column), of)), "text")


@lru_cache(4096)
def _kind(column: Column[Any]) -> _Kind:
    return next((kind for of, _, kind in _KINDS if isinstance(_plain_type(column), of)), _TEXT)


def to_text(column: Column[Any], value: Any) -> str | None:
    """Write a column's value as text; None is no value (in a column of JSON, its own null)."""
    if value is None and (column.nullable or not isinstance(column.type, JSON)):
        return None
    return _kind(column).write(value)


def from_text(column: Column[Any], text: str | None) -> Any:
    """Read a column's value from its text; raises ValueError if it is none of that column."""
    if text is None:
        if not column.nullable:
            raise ValueError(f"{column.table.name}.{column.name} may not be without a value")
        return None
    value = _kind(column).read(text)
    # A table as found in an older book knows its moments without their zone.
    plain = isinstance(value, datetime) and not isinstance(column.type, Moment)
    return value.replace(tzinfo=None) if plain else value


def is_content(name: str) -> bool:
    """Say whether a table of a database holds records, rather than an index or a mark."""
    return "_search" not in name and name != "alembic_version"


def _points_ahead(reference: ForeignKeyConstraint) -> bool | None:
    """Cut the one circle of references at the same place in any schema, told or found."""
    return True if (reference.table.name, *reference.column_keys) in _CUT else None


def list_tables(metadata: MetaData = Base.metadata, *, passing: bool = False) -> list[Table]:
    """List the tables in an order in which references hold, but for `late_columns`."""
    by_name = sorted(
        (t for t in metadata.tables.values() if is_content(t.name)), key=lambda table: table.name
    )
    return [
        table
        for table, _ in sort_tables_and_constraints(by_name, _points_ahead)  # type: ignore[no-untyped-call]
        if table is not None and (passing or table.name not in PASSING)
    ]


@cache
def late_columns(table: Table) -> tuple[str, ...]:
    """Name the columns that point to rows of the table itself or of one that comes later."""
    names = [each_table.name for each_table in list_tables(table.metadata, passing=True)]
    before = set(names[: names.index(table.name)])
    return tuple(
        column.name
        for column in table.columns
        if any(key.column.table.name not in before for key in column.foreign_keys)
    )


def read_rows(connection: Connection, table: Table) -> Iterator[Row]:
    """Read a table's rows as text, ordered by their keys, without holding them all.

    Tables read one after another belong together only within one transaction that sees one state
    (on PostgreSQL: REPEATABLE READ).
    """
    by_bytes = _BY_BYTES.get(connection.dialect.name, "")
    order = [
        collate(column, by_bytes) if by_bytes and kind_of(column) == "text" else column
        for column in table.primary_key
    ]
    columns = list(table.columns)
    wanted = select(*columns).order_by(*order)
    rows = connection.execute(
        wanted, execution_options={"stream_results": True, "yield_per": ROWS_AT_ONCE}
    )
    for row in rows:
        yield tuple(to_text(column, value) for column, value in zip(columns, row, strict=True))


def count_rows(connection: Connection, table: Table) -> int:
    """Count a table's rows."""
    return int(connection.execute(select(func.count()).select_from(table)).scalar_one())


def write_rows(
    connection: Connection, table: Table, rows: Iterable[Sequence[str | None]]
) -> list[LateReference]:
    """Write rows of text, columns as declared, ids kept; raises ValueError for a text that is none.

    Gives the references to rows that may not be there yet: `write_late` writes them when all are.
    """
    columns = list(table.columns)
    late_names = late_columns(table)
    late: list[LateReference] = []
    waiting = iter(rows)
    while batch := list(islice(waiting, ROWS_AT_ONCE)):
        values = []
        for row in batch:
            read = {
                column.name: from_text(column, text)
                for column, text in zip(columns, row, strict=True)
            }
            key = tuple(read[column.name] for column in table.primary_key)
            late.extend(
                LateReference(key, name, read[name])
                for name in late_names
                if read[name] is not None
            )
            values.append({name: read[name] for name in read if name not in late_names})
        connection.execute(insert(table), values)
    return late


def write_late(connection: Connection, table: Table, late: Sequence[LateReference]) -> None:
    """Write the references that had to wait until every row was there."""
    keys = list(table.primary_key)
    for name in late_columns(table):
        values = [
            {"to": reference.value, **{f"key_{at}": part for at, part in enumerate(reference.key)}}
            for reference in late
            if reference.column == name
        ]
        if values:
            where = [key == bindparam(f"key_{at}") for at, key in enumerate(keys)]
            wanted = update(table).where(*where).values({name: bindparam("to")})
            connection.execute(wanted, values)


def content_hash(
    connection: Connection,
    photos: Path | None,
    *,
    metadata: MetaData = Base.metadata,
    passing: bool = False,
) -> ContentHash:
    """Hash all that a book says, and the photographs in a folder, if one is given."""
    tables = {
        table.name: hash_rows(table, read_rows(connection, table))
        for table in list_tables(metadata, passing=passing)
    }
    pictures = hash_photos(photos) if photos else ""
    hashes = json.dumps([sorted(tables.items()), pictures])
    return ContentHash(tables, pictures, hashlib.sha256(hashes.encode()).hexdigest())


class TableHash:
    """Hashes a table's rows as they pass by."""

    def __init__(self, table: Table) -> None:
        names = [column.name for column in table.columns]
        self._order = sorted(range(len(names)), key=lambda at: names[at])
        self._found = hashlib.sha256(json.dumps(sorted(names)).encode())

    def passing(self, rows: Iterable[Row]) -> Iterator[Row]:
        """The rows on, hashed."""
        for row in rows:
            self._found.update(b"\n" + json.dumps([row[at] for at in self._order]).encode())
            yield row

    def hexdigest(self) -> str:
        """The SHA-256 of all that passed."""
        return self._found.hexdigest()


def hash_rows(table: Table, rows: Iterable[Row]) -> str:
    """Hash a table's rows."""
    table_hash = TableHash(table)
    for _ in table_hash.passing(rows):
        pass
    return table_hash.hexdigest()


def list_photo_files(photos: Path) -> list[str]:
    """Name the photographs' files in their folder; what else lies in it is not the book's."""
    return sorted(
        path.name
        for path in photos.glob("*.jpg")
        if is_photo_file(path.name) and path.is_file() and not path.is_symlink()
    )


def hash_photos(photos: Path) -> str:
    """Hash the photographs' names and dots."""
    return hash_marks((name, hash_file(photos / name)) for name in list_photo_files(photos))


def hash_marks(marks: Iterable[tuple[str, str]]) -> str:
    """Hash photographs by their names, in order, and the hashes of their dots."""
    return hashlib.sha256(json.dumps([list(mark) for mark in marks]).encode()).hexdigest()
