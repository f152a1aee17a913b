"""Debian's Chromium on a live server: pages as people use them."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser as Chromium
from playwright.sync_api import Page, sync_playwright

from app.web.app import create_app
from app.web.serving import served
from app.web.settings import Settings

CHROMIUM = "/usr/bin/chromium"
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark everything here as a browser test, and skip it where there is no Chromium."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)
            if not Path(CHROMIUM).exists():
                item.add_marker(pytest.mark.skip(reason="Debian's chromium is not installed"))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Chromium]:
    """Start Chromium once."""
    with sync_playwright() as playwright:
        # It keeps the true clock where the tests run under a moved one: it would answer too late.
        true: dict[str, str | float | bool] = dict(os.environ)
        true.pop("LD_PRELOAD", None)
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET), env=true)
        yield started
        started.close()


@pytest.fixture
def address(book: Path, clock) -> Iterator[str]:
    """Serve this test's book; gives the address."""
    with served(create_app(Settings(book=book, now=clock))) as opened:
        yield opened.removesuffix("/")


@pytest.fixture
def errors() -> list[str]:
    """Collect what pages complain of; the page fixture fails the test if anything is in it."""
    return []


@pytest.fixture
def page(chromium: Chromium, address: str, errors: list[str]) -> Iterator[Page]:
    """Open a page that may ask nothing of the world outside and must not err."""
    context = chromium.new_context(
        base_url=address, viewport={"width": 1280, "height": 900}, reduced_motion="reduce"
    )
    opened = context.new_page()
    opened.on("pageerror", lambda error: errors.append(str(error)))
    opened.on(
        "request",
        lambda request: (
            None
            if request.url.startswith((address, "data:", "about:"))
            else errors.append(f"asked outside: {request.url}")
        ),
    )
    opened.set_default_timeout(8000)
    yield opened
    context.close()
    assert errors == []
