"""Reads the columns of a published data file that lies beside these tests."""

import csv
from pathlib import Path

DATA = Path(__file__).parent / "data"


def read_rows(name: str) -> list[dict[str, str]]:
    """Give all rows of a file in `data`, as text by column heading."""
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def read_columns(name: str, *columns: str) -> list[list[float]]:
    """Give the named columns of a file in `data`, as numbers."""
    rows = read_rows(name)
    return [[float(row[column]) for row in rows] for column in columns]
