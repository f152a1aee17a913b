"""The made-up shop, loaded once for all tests that look at it."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.store.book import Sessions
from app.web.app import create_app, open_book
from app.web.demo import fill_book
from app.web.settings import Settings
from tests.conftest import NOON, Browser

SETTINGS = {"now": lambda: NOON}


@pytest.fixture(scope="session")
def loaded_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Fill a new book with the made-up shop, as on 25 November 2026 at noon."""
    folder = tmp_path_factory.mktemp("made-up")
    settings = Settings(book=folder, **SETTINGS)
    sessions = open_book(settings)
    with sessions.write() as session:
        fill_book(session, settings)
        session.commit()
    sessions.engine.dispose()
    return folder


@pytest.fixture
def loaded(loaded_folder: Path) -> Iterator[Sessions]:
    """Open that book for looking; tests that write take a copy."""
    sessions = open_book(Settings(book=loaded_folder, **SETTINGS))
    yield sessions
    sessions.engine.dispose()


@pytest.fixture
def loaded_copy(loaded_folder: Path, tmp_path: Path) -> Path:
    """Give a copy of that book to write in."""
    return Path(shutil.copytree(loaded_folder, tmp_path / "copy"))


@pytest.fixture
def shop_browser(loaded_folder: Path) -> Iterator[Browser]:
    """Give a browser on the made-up shop, for looking only."""
    app = create_app(Settings(book=loaded_folder, **SETTINGS))
    with TestClient(app, base_url="http://127.0.0.1") as client:
        yield Browser(client)
