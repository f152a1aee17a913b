"""A book's content as text and back: nothing lost, in any order references allow, one hash."""

import json
import tracemalloc
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import MetaData, create_engine, insert, select, update

from app.store.book.contents import (
    content_hash,
    from_text,
    kind_of,
    late_columns,
    list_tables,
    read_rows,
    to_text,
    write_late,
    write_rows,
)
from app.store.book.migrating import migrate_book
from app.store.engines import open_book_engine, open_engine
from app.store.tables import Base
from tests.books import FIRST, content_of
from tests.store.scripts import MIGRATIONS

TABLES = Base.metadata.tables
texts = st.text(st.characters(exclude_categories=["Cs"]))
VALUES = {
    "text": ("customer", "name", texts),
    "integer": ("job", "agreed_price_minor", st.integers(-(2**63), 2**63 - 1)),
    "number": ("reading", "value_mm", st.floats(allow_nan=False)),
    "boolean": ("gauge", "retired", st.booleans()),
    "day": ("job", "wanted_by", st.dates()),
    "moment": ("photo", "created_at", st.datetimes(timezones=st.just(UTC))),
    "json": (
        "slip",
        "printed",
        st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | texts,
            lambda inner: st.lists(inner) | st.dictionaries(texts, inner),
            max_leaves=8,
        ),
    ),
    "bytes": ("slip_file", "content", st.binary()),
}


def column_of(kind: str):
    table, name, _ = VALUES[kind]
    return TABLES[table].columns[name]


@pytest.mark.parametrize("kind", VALUES)
def test_any_value_of_a_column_is_turned_into_text_and_back(kind):
    column = column_of(kind)
    assert kind_of(column) == kind

    @given(VALUES[kind][2])
    def there_and_back(value):
        text = to_text(column, value)
        assert isinstance(text, str)
        assert from_text(column, text) == value
        assert type(from_text(column, text)) is type(value)

    there_and_back()


def test_every_column_is_of_a_kind_that_has_been_tried():
    kinds = {kind_of(column) for table in list_tables(passing=True) for column in table.columns}
    assert kinds == set(VALUES)


def test_no_value_is_not_the_empty_text():
    column = TABLES["event"].columns["stage"]
    assert (to_text(column, None), to_text(column, "")) == (None, "")
    assert (from_text(column, None), from_text(column, "")) == (None, "")
    with pytest.raises(ValueError, match="may not be without a value"):
        from_text(TABLES["customer"].columns["name"], None)


@pytest.mark.parametrize(
    ("kind", "text"),
    [("integer", "1.5"), ("number", "one"), ("boolean", "1"), ("day", "yesterday"),
     ("moment", "2026-11-25T12:00:00"), ("json", "{"), ("bytes", "=A")],
)  # fmt: skip
def test_a_text_that_is_no_value_of_its_column_is_refused(kind, text):
    with pytest.raises(ValueError):  # noqa: PT011 - each kind's own words
        from_text(column_of(kind), text)


def test_tables_come_after_those_they_point_to_and_only_known_references_wait():
    seen: set[str] = set()
    waiting = {}
    for table in list_tables(passing=True):
        for column in table.columns:
            for key in column.foreign_keys:
                if key.column.table.name not in seen:
                    waiting.setdefault(table.name, []).append(column.name)
        assert tuple(waiting.get(table.name, ())) == late_columns(table)
        seen.add(table.name)
    assert waiting == {
        "customer": ["joined_to_id"],
        "facing": ["source_set_id"],
        "job": ["order_id"],
        "piece": ["joined_to_id"],
        "reading_set": ["replaces_id"],
    }
    assert seen == set(TABLES)


def test_indexes_marks_and_what_is_passing_are_no_content(worked_book):
    engine = open_book_engine(worked_book)
    found = MetaData()
    with engine.connect() as connection:
        found.reflect(connection)
    engine.dispose()
    names = [table.name for table in list_tables(found)]
    assert sorted(names) == sorted(set(TABLES) - {"draft", "submission"})
    assert names != sorted(names)


def copy(source, target, tables):
    late = []
    for table in tables:
        late.append((table, write_rows(target, table, read_rows(source, table))))
    for table, references in late:
        write_late(target, table, references)


@pytest.mark.sqlite_file
def test_a_book_written_into_another_is_equal_row_by_row_and_by_hash(worked_book, tmp_path):
    """Seen by SQLite itself too, not only through the functions that wrote it."""
    here, there = open_book_engine(worked_book), open_engine(tmp_path / "there")
    migrate_book(there, MIGRATIONS)
    photos = worked_book / "photos"
    with here.connect() as source, there.execution_options(writes=True).begin() as target:
        copy(source, target, list_tables(passing=True))
        was = content_hash(source, photos, passing=True)
        assert content_hash(target, photos, passing=True) == was
        assert len(set(was.tables.values())) > 15
    here.dispose()
    there.dispose()
    one, other = (
        {name: rows for name, rows in content_of(folder / "book.sqlite3").items()
         if "_search_" not in name and not name.startswith("sqlite_")}
        for folder in (worked_book, tmp_path / "there")
    )  # fmt: skip
    assert one.keys() == other.keys()
    for name in one.keys() - {"piece_search", "job_search"}:
        assert one[name] == other[name], name


def test_the_hash_tells_every_change_and_nothing_else(worked_book):
    engine = open_book_engine(worked_book)
    photos = worked_book / "photos"
    with engine.connect() as connection:
        was = content_hash(connection, photos)
        assert content_hash(connection, photos) == was
        assert content_hash(connection, None).tables == was.tables
        for table, name, value in (
            ("customer", "notes", " "), ("reading", "value_mm", 18.000000000000004),
            ("event", "stage", ""), ("job", "wanted_by", date(2026, 1, 1)),
            ("slip", "issued_at", datetime(2026, 1, 1, 0, 0, 0, 1, tzinfo=UTC)),
        ):  # fmt: skip
            with connection.begin_nested() as change:
                where = TABLES[table].columns["id"] == 1
                connection.execute(update(TABLES[table]).where(where).values({name: value}))
                now = content_hash(connection, photos)
                assert now.whole != was.whole
                assert {one for one in was.tables if now.tables[one] != was.tables[one]} == {table}
                change.rollback()
        assert content_hash(connection, photos) == was
        passing = {"place": "/jobs/1", "fields": {}, "at": datetime(2026, 1, 1, tzinfo=UTC)}
        connection.execute(insert(TABLES["draft"]), passing)
        assert content_hash(connection, photos) == was
        assert content_hash(connection, photos, passing=True).whole != was.whole
    (photos / FIRST).write_bytes(b"another")
    with engine.connect() as connection:
        assert content_hash(connection, photos).photos != was.photos
        assert content_hash(connection, photos).tables == was.tables
    engine.dispose()


# What stands in a column that must have a value and is not what the test is about.
NOUGHT = {"json": "[]", "integer": "1", "number": "1", "boolean": "false"}


def test_an_order_that_only_the_whole_allows_is_written_all_the_same():
    """A correction may have a lower number than what it replaces; a facing points ahead."""
    engine = create_engine("sqlite://")
    Base.metadata.create_all(engine)
    keys = {table.name: [column.name for column in table.columns] for table in list_tables()}
    sample = {
        "customer": {"id": "1", "name": "x", "created_at": "2026-01-01T00:00:00+00:00"},
        "piece": {"id": "1", "owner_id": "1", "instrument_kind": "", "material": "",
                  "created_at": "2026-01-01T00:00:00+00:00"},
        "facing": {"id": "1", "name": "f", "instrument_kind": "", "told_by": "",
                   "source_set_id": "2", "in_library": "false",
                   "created_at": "2026-01-01T00:00:00+00:00"},
        "reading_set": [
            {"id": str(number), "piece_id": "1", "role": "r", "taken_on": "2026-01-01",
             "replaces_id": replaces, "created_at": "2026-01-01T00:00:00+00:00"}
            for number, replaces in ((1, "2"), (2, None))
        ],
    }  # fmt: skip
    with engine.begin() as connection:
        connection.exec_driver_sql("PRAGMA foreign_keys=ON")
        late = []
        for table in list_tables():
            rows = sample.get(table.name, [])
            filled = [
                [
                    one.get(name, None if table.columns[name].nullable else
                            NOUGHT.get(kind_of(table.columns[name]), ""))
                    for name in keys[table.name]
                ]
                for one in ([rows] if isinstance(rows, dict) else rows)
            ]  # fmt: skip
            late.append((table, write_rows(connection, table, filled)))
        for table, references in late:
            write_late(connection, table, references)
        sets = TABLES["reading_set"]
        found = connection.execute(select(sets.c.id, sets.c.replaces_id).order_by(sets.c.id))
        assert found.all() == [(1, 2), (2, None)]
        assert connection.execute(select(TABLES["facing"].c.source_set_id)).scalar_one() == 2
    engine.dispose()


def test_rows_come_in_the_order_of_bytes_not_of_a_language():
    engine = create_engine("sqlite://")
    Base.metadata.create_all(engine)
    table = TABLES["message_text"]
    names = ["b", "B", "é", "a", "Z"]
    with engine.begin() as connection:
        write_rows(connection, table, [(name, "", "") for name in names])
        assert [row[0] for row in read_rows(connection, table)] == sorted(
            names, key=lambda name: name.encode()
        )
    engine.dispose()


def test_rows_are_read_as_they_are_asked_for_not_all_at_once(worked_book):
    """Memory stays flat however many rows there are."""
    engine = open_book_engine(worked_book)
    with engine.connect() as connection:
        table = TABLES["checklist_item"]
        many = ((str(number), "k", json.dumps(number), "1") for number in range(1000, 31000))
        write_rows(connection, table, many)
        tracemalloc.start()
        total = sum(1 for _ in read_rows(connection, table))
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        connection.rollback()
    engine.dispose()
    assert total >= 30000
    assert most < 3_000_000
