"""The second part of the readings form and the comparison, by keyboard and with scripts."""

import re

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.work import keep_line, take_piece_in
from tests.lines import CLOSE_LINE, RECEIVED_LINE, RETURNED_LINE


def focused(page: Page) -> str:
    return page.evaluate("document.activeElement.id")


def test_enter_skips_folded_parts_and_walks_through_open_ones(page):
    job = take_piece_in(page)
    page.goto(f"/jobs/{job}/readings")
    page.locator("#bore").focus()
    page.keyboard.press("Enter")
    assert focused(page) == "bore"  # nothing is typed yet, so there is nothing to keep
    summary = page.locator("#other-lengths > summary")
    summary.focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert focused(page) == "bore_at_1"
    for typed in ("5", "0.584", "20", "0.575"):
        page.keyboard.type(typed)
        page.keyboard.press("Enter")
    assert focused(page) == "bore_at_3"
    page.keyboard.press("Shift+Enter")
    assert focused(page) == "bore_2"
    expect(page.locator("[data-preview]")).to_contain_text("The bore narrows inwards")
    expect(page.locator("[data-means=bore_1]")).to_have_text("14.83 mm")


def test_enter_in_a_dial_column_is_a_new_line_and_the_preview_keeps_up(page):
    job = take_piece_in(page)
    page.goto(f"/jobs/{job}/readings")
    page.keyboard.type(CLOSE_LINE)
    page.locator("#dial-readings > summary").click()
    page.locator("#dial_left").focus()
    for line in ("4 0.768", "8 0.451", "12 0.210", "14"):
        page.keyboard.type(line)
        page.keyboard.press("Enter")
    assert page.locator("#dial_left").input_value().count("\n") == 4
    expect(page.locator("[data-preview]")).to_contain_text("dial’s readings on the left rail")
    page.get_by_role("button", name="Keep the readings").click()
    expect(page.locator("#dial_left-problem")).to_contain_text("Line 4: “14” is one number")


def test_a_chosen_file_is_previewed_and_kept(page, tmp_path):
    column = tmp_path / "left.txt"
    column.write_text("4 0.768\n8 0.451\n12 0.210\n")
    job = take_piece_in(page)
    page.goto(f"/jobs/{job}/readings")
    page.keyboard.type(CLOSE_LINE)
    page.locator("#dial-readings > summary").click()
    page.locator("#dial_left_file").set_input_files(column)
    expect(page.locator("[data-preview]")).to_contain_text("dial’s readings on the left rail")
    page.get_by_role("button", name="Keep the readings").click()
    page.wait_for_url("**/jobs/*said=readings*")
    page.goto("/readings/1")
    expect(page.locator("main").get_by_text("By dial").first).to_be_visible()


def test_two_sets_are_ticked_and_compared_by_keyboard(page):
    job = take_piece_in(page)
    keep_line(page, job, RECEIVED_LINE)
    keep_line(page, job, RETURNED_LINE, role="as_returned")
    page.goto("/pieces/1")
    page.locator("#compare > summary").focus()
    page.keyboard.press("Enter")
    for _ in range(2):
        page.keyboard.press("Tab")
        page.keyboard.press("Space")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("before=1&after=2"))
    picture = page.locator("img.picture").first
    assert picture.evaluate("one => one.complete && one.naturalWidth > 0")


def test_axe_finds_nothing_in_the_open_parts(page):
    job = take_piece_in(page)
    page.goto(f"/jobs/{job}/readings")
    for part in ("#other-lengths", "#dial-readings"):
        page.locator(f"{part} > summary").click()
    page.locator("#bore_1").fill("deep")
    page.locator("#dial_left").fill("1 2 3")
    page.get_by_role("button", name="Keep the readings").click()
    for width in (1280, 390, 320):
        page.set_viewport_size({"width": width, "height": 900})
        assert Axe().run(page).response["violations"] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
