"""The two books every benchmark of a run works on: one of 1,000 jobs and one of 100,000.

They are made once and kept in the machine's folder for temporary files, under a name that hangs
on the schema and on how they are made.
"""

import hashlib
import os
import shutil
import tempfile
import time
from pathlib import Path

from app.packed import folder_of
from tests.benchmarks import scale_book

SMALL, LARGE = 1_000, scale_book.JOBS


def books_folder() -> Path:
    """Name the folder of this schema's books."""
    told = hashlib.sha256(Path(scale_book.__file__).read_bytes())
    for path in sorted((folder_of("migrations") / "versions").glob("*.py")):
        told.update(path.read_bytes())
    base = os.environ.get("LAYBOOK_BENCHMARKS") or tempfile.gettempdir()
    return Path(base) / f"laybook-benchmarks-{told.hexdigest()[:12]}"


def book_of(jobs: int) -> Path:
    """Give a book of so many jobs, making it if it isn't there."""
    book = books_folder() / str(jobs)
    if not (book / "made").exists():
        make_book(jobs)
    return book


def make_book(jobs: int) -> float:
    """Make the book anew; gives the seconds it took."""
    book = books_folder() / str(jobs)
    shutil.rmtree(book, ignore_errors=True)
    began = time.perf_counter()
    scale_book.make_scale_book(book, jobs)
    took = time.perf_counter() - began
    (book / "made").write_text(f"{took:.1f} s\n")
    return took
