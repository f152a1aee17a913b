"""A filled book's export, and a new book to take it into."""

from pathlib import Path

import pytest

from tests.store.exports import export


@pytest.fixture(scope="module")
def filled_zip(filled_book, tmp_path_factory) -> Path:
    target = tmp_path_factory.mktemp("out") / "book.zip"
    export(filled_book, target)
    return target


@pytest.fixture
def empty(book):
    return book
