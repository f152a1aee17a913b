"""An export as files in a zip: what its list says of each, and reading them without trusting it.

The list (`manifest.json`) names every file with its size and SHA-256. Nothing is read before names
and sizes are known to be harmless: no way out of a folder, no file that the list does not name, no
few bytes that swell to fill the disk.
"""

import base64
import csv
import hashlib
import io
import json
import stat
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from sqlalchemy import Column, Table

from app.core.values.cells import read_cell
from app.store.book.contents import Row, kind_of
from app.store.files import say_disk
from app.store.names import is_plain_name
from app.store.problems import BookProblem

FORM = 1
MANIFEST_NAME = "manifest.json"
TABLES, PAPERS, PHOTOS = "tables", "papers", "photos"
MOST_MANIFEST_BYTES = 256_000_000
# Texts pack to a tenth, photographs hardly; what swells a hundredfold beyond this is no book.
MOST_SWELLING, FREE_BYTES = 100, 50_000_000
MOST_CELL = 2**31 - 1
_CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class FileMark:
    """What the list says of a file; a table's also how many rows."""

    sha256: str
    size: int
    rows: int | None = None


@dataclass(frozen=True, slots=True)
class Manifest:
    """An export's list: who wrote it and when, every file, and the content's hash by table."""

    program: str
    schema: str
    made_at: datetime
    tables: Mapping[str, str]
    photos: str
    files: Mapping[str, FileMark]


@contextmanager
def _refusing(path: Path) -> Iterator[None]:
    """Say in words what reading a zip ran into."""
    try:
        yield
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise BookProblem(
            f"{path.name} can't be read as a zip file: it is broken, or was not copied whole. "
            "Nothing has been changed."
        ) from error
    except (csv.Error, UnicodeDecodeError) as error:
        raise BookProblem(f"A table in {path.name} can't be read: {error}.") from error
    except OSError as error:
        raise BookProblem(f"{path} can't be read: {say_disk(error)}.") from error


@dataclass(frozen=True, slots=True)
class Export:
    """An export opened for reading: its list agrees with the names and sizes in the zip."""

    path: Path
    file: zipfile.ZipFile
    manifest: Manifest

    def read_chunks(self, name: str) -> Iterator[bytes]:
        """Read a file piece by piece; raises BookProblem at its end if it is not as listed."""
        mark, sha256, size = self.manifest.files[name], hashlib.sha256(), 0
        with _refusing(self.path), self.file.open(name) as opened:
            while chunk := opened.read(_CHUNK):
                size += len(chunk)
                if size > mark.size:
                    break
                sha256.update(chunk)
                yield chunk
        if (size, sha256.hexdigest()) != (mark.size, mark.sha256):
            raise BookProblem(f"In {self.path.name} the file {name} is not as it was written.")

    def read(self, name: str) -> bytes:
        """Read a small file whole."""
        return b"".join(self.read_chunks(name))


def table_file(table: str) -> str:
    """Name a table's file."""
    return f"{TABLES}/{table}.csv"


@lru_cache(4096)  # asked for every value
def is_kept_as_file(column: Column[Any]) -> bool:
    """Say whether a column's values are files of their own in an export."""
    return kind_of(column) == "bytes" or (column.table.name, column.name) == ("slip", "html")


@contextmanager
def open_export(path: Path) -> Iterator[Export]:
    """Open an export for reading; whatever is wrong with it raises BookProblem in words."""
    with ExitStack() as stack:
        with _refusing(path):
            file = stack.enter_context(zipfile.ZipFile(path))
            members = _inspect_names(path, file)
            manifest = _read_manifest(path, file, members)
        _compare(path, members, manifest)
        yield Export(path, file, manifest)


def _inspect_names(path: Path, file: zipfile.ZipFile) -> dict[str, zipfile.ZipInfo]:
    members: dict[str, zipfile.ZipInfo] = {}
    for member in file.infolist():
        if member.is_dir() and not member.file_size:
            continue
        if not is_plain_name(member.filename) or stat.S_ISLNK(member.external_attr >> 16):
            raise BookProblem(
                f"{path.name} holds a file with a name that leads out of its folder. It was not "
                "written by this program; nothing was read from it."
            )
        if member.filename in members:
            raise BookProblem(f"{path.name} holds the file {member.filename} twice.")
        if member.flag_bits & 1 or member.compress_type not in {
            zipfile.ZIP_STORED,
            zipfile.ZIP_DEFLATED,
        }:
            raise BookProblem(
                f"In {path.name} the file {member.filename} is packed in a foreign way."
            )
        members[member.filename] = member
    swollen = sum(member.file_size for member in members.values())
    if swollen > FREE_BYTES + MOST_SWELLING * path.stat().st_size:
        raise BookProblem(
            f"{path.name} would swell to {swollen / 1e9:.1f} GB, far beyond what a book packs to. "
            "It was not written by this program; nothing was read from it."
        )
    return members


def _read_manifest(
    path: Path, file: zipfile.ZipFile, members: Mapping[str, zipfile.ZipInfo]
) -> Manifest:
    if MANIFEST_NAME not in members:
        raise BookProblem(f"{path.name} holds no {MANIFEST_NAME}: it is no export of a book.")
    if members[MANIFEST_NAME].file_size > MOST_MANIFEST_BYTES:
        raise BookProblem(f"In {path.name} the file {MANIFEST_NAME} is too large to be one.")
    try:
        manifest: dict[str, Any] = json.loads(file.read(MANIFEST_NAME))
        form = manifest["form"]
        if form != FORM:
            raise BookProblem(
                f"{path.name} is written in form {form!r} and this program reads form {FORM}. "
                "Use the Laybook that wrote it, or a newer one."
            )
        return Manifest(
            program=str(manifest["program"]),
            schema=str(manifest["schema"]),
            made_at=datetime.fromisoformat(manifest["made_at"]).astimezone(),
            tables={
                str(name): str(table_hash)
                for name, table_hash in manifest["content"]["tables"].items()
            },
            photos=str(manifest["content"]["photos"]),
            files={
                str(name): FileMark(str(mark["sha256"]), int(mark["size"]), mark.get("rows"))
                for name, mark in manifest["files"].items()
            },
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise BookProblem(f"In {path.name} the file {MANIFEST_NAME} can't be read.") from error


def _compare(path: Path, members: Mapping[str, zipfile.ZipInfo], manifest: Manifest) -> None:
    there, listed = set(members) - {MANIFEST_NAME}, set(manifest.files)
    if missing := sorted(listed - there):
        raise BookProblem(f"{path.name} is not whole: the file {missing[0]} is missing.")
    if foreign := sorted(there - listed):
        raise BookProblem(f"{path.name} holds a file that its list does not name: {foreign[0]}.")
    for name, mark in manifest.files.items():
        if members[name].file_size != mark.size:
            raise BookProblem(f"In {path.name} the file {name} is not as long as its list says.")
    if untold := sorted(table for table in manifest.tables if table_file(table) not in listed):
        raise BookProblem(f"{path.name} is not whole: the table {untold[0]} is missing.")


def check_files(export: Export) -> None:
    """Read every byte of an export; raises BookProblem if one is not as it was written."""
    for name in export.manifest.files:
        for _ in export.read_chunks(name):
            pass


def read_table(export: Export, table: Table) -> Iterator[Row]:
    """Read a table's rows as text, columns as the table has them."""
    name, columns = table_file(table.name), list(table.columns)
    csv.field_size_limit(MOST_CELL)
    with (
        _refusing(export.path),
        export.file.open(name) as opened,
        io.TextIOWrapper(opened, "utf-8", newline="") as text,
    ):
        lines = csv.reader(text, strict=True)
        head = next(lines, [])
        if sorted(head) != sorted(column.name for column in columns):
            raise BookProblem(f"In {export.path.name} the columns of {name} are not its own.")
        places = [head.index(column.name) for column in columns]
        for line in lines:
            if len(line) != len(head):
                raise BookProblem(
                    f"In {export.path.name}, {name}, line {lines.line_num} has {len(line)} cells "
                    f"and not {len(head)}."
                )
            yield _read_line(export, columns, [line[at] for at in places])


def _read_line(export: Export, columns: Sequence[Column[Any]], cells: Sequence[str]) -> Row:
    return tuple(
        _read_value(export, column, cell) for column, cell in zip(columns, cells, strict=True)
    )


def is_number(column: Column[Any]) -> bool:
    """Say whether a column's cells are plain numbers, that no spreadsheet takes for a formula."""
    return kind_of(column) in {"integer", "number"}


def _read_value(export: Export, column: Column[Any], cell: str) -> str | None:
    text = read_cell(cell, may_be_none=bool(column.nullable), is_number=is_number(column))
    if text is None or not is_kept_as_file(column):
        return text
    if not text.startswith(f"{PAPERS}/") or text not in export.manifest.files:
        raise BookProblem(f"{export.path.name} is not whole: the file {text!r} is missing.")
    content = export.read(text)
    return base64.b64encode(content).decode() if kind_of(column) == "bytes" else content.decode()
