"""Every screen at three widths: nothing for axe-core to find, nothing that scrolls sideways."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.work import issue, keep_line, take_piece_in


@pytest.fixture
def screens(page) -> list[str]:
    """Fill the book a little; gives the address of every kind of screen."""
    job = take_piece_in(page)
    keep_line(page, job, "34 22/22.5 12 6 / 1.02 / 0.588")
    keep_line(page, job, "36 24 14 7 / 1.10 / 0.588", role="as_returned")
    paper = issue(page, job, "return_card")
    return [
        "/",
        "/drop-off",
        "/customers",
        "/customers/1",
        "/customers/1/edit",
        "/pieces/1",
        "/pieces/1/edit",
        "/pieces/1/owner?find=ott",
        "/pieces/1/readings",
        f"/jobs/{job}",
        f"/jobs/{job}/edit",
        f"/jobs/{job}/readings?role=as_received",
        "/readings/1",
        "/readings/1/correct",
        "/comparisons?before=1&after=2",
        "/comparisons?of=1&find=ott",
        "/comparisons?piece=1&set=1",
        f"/jobs/{job}/papers/return_card",
        f"/jobs/{job}/papers/intake_slip",
        paper,
        "/look-up?q=wiesen",
        "/look-up?q=nobody",
        "/settings",
        "/help",
        "/first-start",
        "/no-such-page",
    ]


@pytest.mark.parametrize("width", [1280, 390, 320])
def test_axe_finds_nothing_and_no_screen_scrolls_sideways(page, screens, width):
    page.set_viewport_size({"width": width, "height": 900})
    found = {}
    for screen in screens:
        page.goto(screen)
        results = Axe().run(page)
        if results.violations_count:
            found[screen] = [
                (one["id"], one["nodes"][0]["html"][:160]) for one in results.response["violations"]
            ]
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{screen} is {wide} px wide"
    assert found == {}
