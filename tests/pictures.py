"""Takes the README's pictures: `python -m tests.pictures` writes static/pictures/*.png.

The made-up shop on a free port, in Debian's Chromium; the return card is shown as it prints.
"""

import tempfile
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from app.packed import folder_of
from app.web.app import create_app
from app.web.serving import make_made_up_app, served
from app.web.settings import Settings, wall_clock
from tests.browser.conftest import CHROMIUM, QUIET

WIDTH, HEIGHT = 1280, 860


def take_pictures(page: Page, folder: Path) -> None:
    """Walk the main line's screens and keep a picture of each."""

    def keep(name: str) -> None:
        page.wait_for_load_state("networkidle")
        page.screenshot(path=folder / f"{name}.png")

    page.goto("/")
    keep("bench-list")
    page.goto("/pieces/1")
    page.get_by_role("link", name="Go to job").click()
    page.locator("#line").focus()
    page.keyboard.type("34.5/35 24 13.5/13 7.5/7 / 1.18")
    page.wait_for_timeout(1500)
    keep("readings")
    page.goto("/pieces/1")
    keep("piece")
    page.goto("/papers/2")
    page.wait_for_load_state("networkidle")
    page.locator(".paper-sheet").first.screenshot(path=folder / "return-card.png")


def main() -> None:
    """Serve the made-up shop, take the pictures, throw the shop away."""
    folder = folder_of("static") / "pictures"
    folder.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as book:
        settings = Settings(book=Path(book), now=wall_clock, throw_away=True)
        app = make_made_up_app(create_app, settings)
        with served(app) as address, sync_playwright() as playwright:
            chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
            page = chromium.new_page(base_url=address, viewport={"width": WIDTH, "height": HEIGHT})
            take_pictures(page, folder)
            chromium.close()


if __name__ == "__main__":
    main()
