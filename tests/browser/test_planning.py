"""Planning as people use it: the plan both ways, a pass by keys, sheets that print on one page."""

import io

import pytest
from pypdf import PdfReader

from tests.browser.test_papers import PAPERS, SIZES, kept_pdf
from tests.browser.work import choose_in_shop, keep_line, take_piece_in
from tests.lines import CLOSE_LINE, OPEN_LINE


def press_access_key(page, digit):
    """Press Alt and a digit as a keyboard does; Playwright's own press leaves out the sign."""
    keys = page.context.new_cdp_session(page)
    alt = {"key": "Alt", "code": "AltLeft", "windowsVirtualKeyCode": 18}
    sign = {"key": digit, "code": f"Digit{digit}", "windowsVirtualKeyCode": ord(digit)}
    for kind, key in (("rawKeyDown", alt), ("keyDown", sign), ("char", sign)):
        event = {"type": kind, "modifiers": 1, "unmodifiedText": digit, **key}
        keys.send("Input.dispatchKeyEvent", event)


def printed(page) -> PdfReader:
    """Print the page on show as the browser would."""
    page.emulate_media(media="print")
    data = page.pdf(prefer_css_page_size=True, print_background=True)
    page.emulate_media(media="screen")
    return PdfReader(io.BytesIO(data))


def aim(page, job, line):
    page.goto(f"/jobs/{job}/target")
    page.get_by_text("By readings", exact=True).click()
    page.get_by_label("As the notebook has it").fill(line)
    page.get_by_role("button", name="Aim at this and plan the cut").click()
    page.wait_for_url("**/plan?said=target")


def test_the_plan_both_ways_can_be_read_off_the_page(page):
    job = take_piece_in(page)
    keep_line(page, job, CLOSE_LINE)
    aim(page, job, OPEN_LINE)
    assert page.get_by_role("heading", name="Rails alone").is_visible()
    keep_line(page, job, OPEN_LINE, role="at_the_bench")
    aim(page, job, CLOSE_LINE)
    assert page.get_by_role("heading", name="Table first, then the rails").is_visible()
    assert page.locator(".steps .told-line").first.is_visible()
    shown = page.evaluate(
        "[...document.querySelectorAll('main img')].filter((one) => one.checkVisibility())"
        ".every((one) => one.complete && one.naturalWidth)"
    )
    assert shown


def test_a_pass_is_logged_again_by_two_keys(page):
    job = take_piece_in(page)
    keep_line(page, job, CLOSE_LINE)
    aim(page, job, OPEN_LINE)
    page.goto(f"/jobs/{job}")
    page.locator("#kind").select_option("tilted")
    page.locator("#grit").fill("600")
    page.locator("#strokes").fill("6")
    page.get_by_role("button", name="Log the pass").click()
    page.wait_for_url("**said=pass")
    with page.expect_navigation():
        press_access_key(page, "1")
    assert page.locator("#passes tbody tr").count() == 2
    assert "since the last readings" in page.locator(".bench-verdict").inner_text()


@pytest.mark.parametrize("paper", SIZES)
def test_both_sheets_for_the_bench_print_on_the_shop_s_paper(page, paper):
    choose_in_shop(page, paper=PAPERS[paper], blade_set_id="seven blades (0.050 to 0.0015 in)")
    job = take_piece_in(page, "Ælfgifu Łukołapkowa-Großmümmel of the Long Established Town Band")
    keep_line(page, job, "35.5/34.5 29.5 23.5 17.5 13.5 6.5/6 – / 1.13")
    aim(page, job, "33.5 27.5 21.5 15.5 11.5 5.5 – / 1.05")
    page.goto(f"/jobs/{job}/papers/bench_sheet")
    reader = kept_pdf(page)
    box = reader.pages[0].mediabox
    assert (round(box.width), round(box.height)) == SIZES[paper]
    assert "The table must lose" in "".join(one.extract_text() for one in reader.pages)
    page.goto("/facings/1/sheet?blade_set=2&glass=glass_mm")
    page.wait_for_load_state("networkidle")
    reader = kept_pdf(page)
    assert len(reader.pages) == 1
    assert "0.050 in" in reader.pages[0].extract_text()
