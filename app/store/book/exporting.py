"""The whole book as one zip that can be read without this program: tables, words, papers, photos.

Each table is a CSV file; `fields.csv` and `codes.csv` say in words what is in it; photographs and
papers as issued are ordinary files; `READ ME.txt` explains it all and `manifest.json` lists every
file with its hash. The zip is written under a temporary name and read back, down to every value,
before it takes its own.

What belongs to this machine is not in it: the passphrase, the cookies' key, the backups and where
they go, forms half typed.
"""

import base64
import hashlib
import json
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

from alembic.migration import MigrationContext
from sqlalchemy import Column, Connection, MetaData, Table, func, select

from app.core.values.cells import write_cell, write_lines
from app.packed import folder_of
from app.store.book.contents import (
    Row,
    TableHash,
    hash_marks,
    hash_rows,
    kind_of,
    list_photo_files,
    list_tables,
    read_rows,
)
from app.store.book.describing import CODES, describe_column, describe_table
from app.store.book.export_files import (
    FORM,
    MANIFEST_NAME,
    PAPERS,
    PHOTOS,
    FileMark,
    Manifest,
    check_files,
    is_kept_as_file,
    is_number,
    open_export,
    read_table,
    table_file,
)
from app.store.files import say_disk, written_whole
from app.store.names import is_plain_name
from app.store.problems import BookProblem
from app.store.tables import Base

READ_ME_NAME = "READ ME.txt"
_CHUNK = 1 << 20
_WHEN_EMPTY = {"text": "the empty text"}  # of other kinds no cell is empty
_FIRST_YEAR = 1980  # a zip knows no earlier day

Step = Callable[[], None]  # called for each row and photograph, written or read back


class _Zip:
    """Writes files into a zip and remembers what it wrote."""

    def __init__(self, file: zipfile.ZipFile, at: datetime, folder: Path) -> None:
        self._file = file
        self.folder = folder  # on a disk with room for it
        self.day = (max(at.year, _FIRST_YEAR), at.month, at.day, at.hour, at.minute, at.second)
        self.marks: dict[str, FileMark] = {}
        self._lowered: set[str] = set()

    def add(
        self, name: str, chunks: Iterable[bytes], rows: int | None = None, packed: bool = True
    ) -> None:
        """Write one file."""
        info = zipfile.ZipInfo(name, self.day)
        info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        info.external_attr = 0o600 << 16
        sha256, size = hashlib.sha256(), 0
        with self._file.open(info, "w", force_zip64=True) as opened:
            for chunk in chunks:
                opened.write(chunk)
                sha256.update(chunk)
                size += len(chunk)
        self.marks[name] = FileMark(sha256.hexdigest(), size, rows)
        self._lowered.add(name.lower())

    def is_taken(self, name: str) -> bool:
        """Say whether a name, whatever its case, has been written."""
        return name.lower() in self._lowered


def export_book(
    connection: Connection,
    photos: Path,
    target: Path,
    *,
    program: str,
    now: datetime,
    metadata: MetaData = Base.metadata,
    step: Step = lambda: None,
) -> Manifest:
    """Write the whole book to one file; raises BookProblem, and then there is no such file.

    The connection must see one state of the book from first to last. An older book's tables are
    given as `metadata`. What `step` raises breaks it off in the same way.
    """
    if target.exists():
        raise BookProblem(f"{target} is there already. Name another file; it was left as it is.")
    try:
        with written_whole(target) as file:
            _write(file, connection, photos, program, now, metadata, step)
            file.flush()
            return _read_back(Path(file.name), metadata, step)
    except OSError as error:
        raise BookProblem(f"No export was made: {say_disk(error)}.") from error


def count_steps(connection: Connection, photos: Path) -> int:
    """Count how often an export of the book will call its `step`."""
    rows = sum(
        connection.scalar(select(func.count()).select_from(table)) or 0
        for table in list_tables(Base.metadata)
    )
    return 2 * rows + len(list_photo_files(photos))


def _write(
    file: BinaryIO,
    connection: Connection,
    photos: Path,
    program: str,
    now: datetime,
    metadata: MetaData,
    step: Step,
) -> None:
    tables = list_tables(metadata)
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        writer = _Zip(packed, now.astimezone(), Path(file.name).parent)
        schema = MigrationContext.configure(connection).get_current_revision() or ""
        read_me = (folder_of("templates") / "exports" / READ_ME_NAME).read_text(encoding="utf-8")
        words = read_me.format(program=program, day=f"{now.astimezone():%d %B %Y}", schema=schema)
        writer.add(READ_ME_NAME, [words.encode()])
        hashes = {table.name: _write_table(writer, connection, table, step) for table in tables}
        writer.add("fields.csv", write_lines(_list_fields(tables)))
        writer.add("codes.csv", write_lines(_list_codes()))
        pictures = _write_photos(writer, photos, step)
        manifest = {
            "form": FORM,
            "program": program,
            "schema": schema,
            "made_at": now.isoformat(),
            "about": "Every file of this zip, with its SHA-256 and its size in bytes.",
            "content": {"tables": hashes, "photos": pictures},
            "files": {
                name: {key: value for key, value in asdict(mark).items() if value is not None}
                for name, mark in writer.marks.items()
            },
        }
        text = json.dumps(manifest, indent=1, ensure_ascii=False)
        packed.writestr(zipfile.ZipInfo(MANIFEST_NAME, writer.day), text)


def _write_table(writer: _Zip, connection: Connection, table: Table, step: Step) -> str:
    """Write a table's file, and before it those that its cells name; gives its content's hash."""
    columns = list(table.columns)
    passing, rows = TableHash(table), 0
    with tempfile.TemporaryFile(dir=writer.folder) as waiting:
        for line in write_lines([[column.name for column in columns]]):
            waiting.write(line)
        cells = (
            _write_row(writer, columns, row)
            for row in passing.passing(read_rows(connection, table))
        )
        for line in write_lines(cells):
            waiting.write(line)
            rows += 1
            step()
        waiting.seek(0)
        writer.add(table_file(table.name), _chunks_of(waiting), rows)
    return passing.hexdigest()


def _chunks_of(file: Any) -> Iterator[bytes]:
    while chunk := file.read(_CHUNK):
        yield chunk


def _write_row(writer: _Zip, columns: Sequence[Column[Any]], row: Row) -> list[str]:
    cells = []
    for column, text in zip(columns, row, strict=True):
        value = text
        if text is not None and is_kept_as_file(column):
            value = _write_paper(writer, columns, row, column, text)
        cells.append(
            write_cell(value, may_be_none=bool(column.nullable), is_number=is_number(column))
        )
    return cells


def _write_paper(
    writer: _Zip, columns: Sequence[Column[Any]], row: Row, column: Column[Any], text: str
) -> str:
    """Write a cell's content as a file of its own and give the file's name."""
    cells = dict(zip([each_column.name for each_column in columns], row, strict=True))
    folder = f"{PAPERS}/{cells.get('slip_id') or cells.get('id')}"
    wanted = {"html": "paper.html", "content": cells.get("name") or ""}.get(
        column.name, column.name
    )
    name, count = f"{folder}/{wanted}", 0
    while not is_plain_name(name) or "/" in wanted or writer.is_taken(name):
        count += 1
        name, wanted = f"{folder}/file-{count}", ""
    content = base64.b64decode(text) if kind_of(column) == "bytes" else text.encode()
    writer.add(name, [content])
    return name


def _list_fields(tables: Sequence[Table]) -> Iterator[list[str]]:
    yield ["table", "column", "kind", "an empty cell means", "points to", "meaning"]
    for table in tables:
        yield [table.name, "", "", "", "", describe_table(table.name)]
        for column in table.columns:
            empty = "no value" if column.nullable else _WHEN_EMPTY.get(kind_of(column), "")
            yield [
                table.name,
                column.name,
                "file" if is_kept_as_file(column) else kind_of(column),
                empty,
                ", ".join(sorted(key.target_fullname for key in column.foreign_keys)),
                describe_column(table.name, column.name),
            ]


def _list_codes() -> Iterator[list[str]]:
    yield ["table", "column", "code", "meaning"]
    for place, codes in CODES.items():
        table, column = place.split(".")
        for code, meaning in codes.items():
            yield [table, column, code, meaning]


def _write_photos(writer: _Zip, photos: Path, step: Step) -> str:
    """Write the photographs; gives their hash."""
    names = list_photo_files(photos)
    for name in names:
        step()
        with (photos / name).open("rb") as file:
            writer.add(f"{PHOTOS}/{name}", _chunks_of(file), packed=False)
    return hash_marks((name, writer.marks[f"{PHOTOS}/{name}"].sha256) for name in names)


def _read_back(path: Path, metadata: MetaData, step: Step) -> Manifest:
    """Read what was written, every byte and every value; raises BookProblem."""

    def passing(rows: Iterable[Row]) -> Iterator[Row]:
        for row in rows:
            step()
            yield row

    with open_export(path) as export:
        check_files(export)
        for table in list_tables(metadata):
            rows = passing(read_table(export, table))
            if hash_rows(table, rows) != export.manifest.tables[table.name]:
                raise BookProblem(f"The table {table.name} could not be read back as it was.")
    return export.manifest
