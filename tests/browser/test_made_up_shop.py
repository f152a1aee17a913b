"""The made-up shop in Chromium: full pages at three widths, and the way in from a new book."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe

from app.web.app import open_book
from app.web.demo import filling as demo
from app.web.settings import Settings
from tests.conftest import NOON


class TestItsPages:
    """The pages that only show their worst with years of work in the book."""

    @pytest.fixture
    def book(self, loaded_folder: Path, tmp_path: Path) -> Path:
        return Path(shutil.copytree(loaded_folder, tmp_path / "book"))

    @pytest.mark.parametrize("width", [1280, 390, 320])
    def test_axe_finds_nothing_and_nothing_scrolls_sideways(self, page, width):
        page.set_viewport_size({"width": width, "height": 900})
        found = {}
        screens = ["/", "/customers", "/customers/9", "/look-up?q=thimblewick", "/first-start"]
        for screen in [*screens, "/pieces/1", "/pieces/18", "/jobs/34"]:
            page.goto(screen)
            for one in page.locator(".history details").all():
                one.locator("summary").click()
            results = Axe().run(page)
            if results.violations_count:
                found[screen] = [
                    (one["id"], one["nodes"][0]["html"]) for one in results.response["violations"]
                ]
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= width, f"{screen} is {wide} px wide"
        assert found == {}


class TestTheWayIn:
    """From a new book to the made-up shop and back."""

    @pytest.fixture
    def book(self, tmp_path: Path, monkeypatch) -> Path:
        whole = demo.read_made_up_shop()
        few = replace(whole, lines=whole.lines[:3])
        monkeypatch.setattr(demo, "read_made_up_shop", lambda: few)
        open_book(Settings(book=tmp_path / "new", now=lambda: NOON)).close()
        return tmp_path / "new"

    def test_it_opens_in_a_tab_of_its_own_and_is_closed_from_the_book(self, page):
        page.goto("/")
        page.get_by_role("button", name="Open the made-up shop").click()
        with page.expect_popup() as opened:
            page.get_by_role("link", name="Go to the made-up shop").click()
        shop = opened.value
        shop.get_by_text("What you write here is thrown away").wait_for()
        assert shop.get_by_text("Sleepy Heron").count() == 1
        page.get_by_role("button", name="Close it and throw it away").click()
        page.get_by_role("button", name="Begin with an empty book").click()
        page.wait_for_url("**/first-start?said=begun")
