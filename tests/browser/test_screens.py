"""Every screen at three widths: nothing for axe-core to find, nothing that scrolls sideways."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.work import (
    begin_batch,
    check_thin_blade,
    issue,
    keep_line,
    keep_study,
    send_home,
    take_piece_in,
)
from tests.lines import RECEIVED_LINE, RETURNED_LINE
from tests.photo_cases import photo


@pytest.fixture
def screens(page) -> list[str]:
    """Fill the book a little; gives the address of every kind of screen."""
    job = take_piece_in(page)
    keep_line(page, job, RECEIVED_LINE)
    keep_line(page, job, RETURNED_LINE, role="as_returned")
    blade = check_thin_blade(page)
    study = keep_study(page, blade)
    paper = issue(page, job, "return_card")
    page.goto(f"/jobs/{job}/photos")
    picture = {"name": "tip.jpg", "mimeType": "image/jpeg", "buffer": photo()}
    page.locator("#files").set_input_files([picture])
    page.get_by_role("button", name="Keep the photographs").click()
    page.wait_for_url("**/photos?said=photos")
    page.goto(f"/jobs/{job}/target")
    page.locator("input[value=line]").check()
    page.locator("#line").fill("34.5 22.5 12.5 5.5 / 1.07")
    page.get_by_role("button", name="Aim at this and plan the cut").click()
    page.wait_for_url("**/plan?said=target")
    for _ in range(2):
        page.goto(f"/jobs/{job}")
        page.locator("#kind").select_option("flat")
        page.locator("#strokes").fill("6")
        page.get_by_role("button", name="Log the pass").click()
        page.wait_for_url("**said=pass*")
        keep_line(page, job, "35.5 23.5 13.5/13 6.5 / 1.11", role="at_the_bench")
    before = take_piece_in(page, "Annabel Quellmütze", "N5")
    keep_line(page, before, RETURNED_LINE, role="as_returned")
    send_home(page, before)
    batch = begin_batch(page)
    page.goto("/drop-off?customer=2&piece=2")
    page.get_by_role("button", name="Take it in").click()
    page.wait_for_url("**/jobs/*said=taken-in")
    back = int(page.url.split("/jobs/")[1].split("?")[0])
    keep_line(page, back, "35.5 23.5 13.5 6.5 / 1.08 / 0.591")
    return [
        "/",
        "/drop-off",
        "/drop-off?customer=1&piece=1",
        f"/jobs/{back}",
        "/batches",
        "/batches/new",
        batch,
        f"{batch}/edit",
        "/customers",
        "/customers/1",
        "/customers/1/edit",
        "/customers/1/forget",
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
        f"/jobs/{job}/papers/tray_tag",
        f"/jobs/{job}/photos",
        f"/jobs/{job}/charges",
        f"/jobs/{job}/messages",
        f"/jobs/{job}/papers/bill",
        "/settings/messages",
        "/glance",
        "/notebook",
        f"/jobs/{job}/papers/bench_sheet",
        "/pieces/1/papers/piece_record",
        paper,
        "/look-up?q=wiesen",
        "/look-up?q=nobody",
        "/facings",
        "/facings/new?from_set=1",
        "/facings/1",
        "/facings/1/edit",
        "/facings/1/sheet",
        "/bench-list",
        f"/labels?of=/jobs/{job}&start=5",
        f"/jobs/{job}/target?find=kestrel",
        f"/jobs/{job}/plan",
        f"/jobs/{job}/papers/bench_sheet",
        "/removal-rates?left=0.05",
        "/settings",
        "/settings/backups",
        "/gauges",
        blade,
        f"{blade}/edit",
        f"{blade}/studies/new",
        study,
        "/gauges/1",
        "/gauges/new/glass",
        "/blade-sets/new",
        "/blade-sets/1/edit",
        "/help",
        "/first-start",
        "/no-such-page",
    ]


@pytest.mark.parametrize(
    "width", [390, *(pytest.param(width, marks=pytest.mark.long) for width in (1280, 320))]
)
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
